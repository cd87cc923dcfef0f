import type { FrameView, Tile } from '../../workers/protocol/api.ts';
import type { Outcome } from '../../workers/protocol/faults.ts';
import { parentOf, tileKey, type TileAddress } from './camera.ts';
import type { Painter } from './painter.ts';

export type AskForTile = (level: number, col: number, row: number) => Promise<Outcome<Tile>>;

/** Tiles asked for at one time: few, so that what was wanted a moment ago does not delay what is wanted now. */
const IN_FLIGHT = 3;
/** Samples kept in the painter: 24 million 16-bit ones, and as many as they are shown, are 144 MB. */
const CAPACITY_SAMPLES = 24e6;

/**
 * Keeps the tiles that were drawn last in the painter and asks the worker for missing ones, the newest wish first.
 * A tile that could not be had is not asked for again until the store is made anew.
 */
export class TileStore {
  readonly #samples = new Map<string, number>();
  readonly #asked = new Set<string>();
  readonly #refused = new Set<string>();
  #wanted: TileAddress[] = [];
  #held = 0;
  #ended = false;

  constructor(
    readonly view: FrameView,
    readonly painter: Painter,
    readonly ask: AskForTile,
    /** A tile came. */
    readonly changed: (tile: Tile) => void,
  ) {}

  has = (tile: TileAddress): boolean => this.#samples.has(tileKey(tile));

  /**
   * For each wanted tile the tile to draw: itself, or else the nearest resident one above it. Coarse ones first, so
   * that finer ones cover them. Missing tiles are asked for.
   */
  use(wanted: TileAddress[]): TileAddress[] {
    const drawn = new Map<string, TileAddress>();
    for (const tile of wanted) {
      let stand: TileAddress = tile;
      while (!this.has(stand) && stand.level + 1 < this.view.levels.length) stand = parentOf(stand);
      if (this.has(stand)) drawn.set(tileKey(stand), stand);
    }
    for (const key of drawn.keys()) this.#touch(key);
    this.#wanted = wanted.filter((tile) => !this.has(tile));
    this.#pump();
    return [...drawn.values()].sort((a, b) => b.level - a.level);
  }

  end(): void {
    this.#ended = true;
    this.#wanted = [];
    for (const key of this.#samples.keys()) this.painter.drop(key);
  }

  #pump(): void {
    for (const tile of this.#wanted) {
      if (this.#asked.size >= IN_FLIGHT) return;
      const key = tileKey(tile);
      if (this.#samples.has(key) || this.#asked.has(key) || this.#refused.has(key)) continue;
      this.#asked.add(key);
      void this.ask(tile.level, tile.col, tile.row).then((answer) => this.#arrived(key, answer));
    }
  }

  #arrived(key: string, answer: Outcome<Tile>): void {
    this.#asked.delete(key);
    if (this.#ended) return;
    if (answer.ok) {
      this.painter.load(key, answer.value);
      this.#samples.set(key, answer.value.values.length);
      this.#held += answer.value.values.length;
      this.#evict();
      this.changed(answer.value);
    } else this.#refused.add(key);
    this.#pump();
  }

  /** A Map keeps the order of insertion: what is used moves to the end. */
  #touch(key: string): void {
    const samples = this.#samples.get(key)!;
    this.#samples.delete(key);
    this.#samples.set(key, samples);
  }

  #evict(): void {
    for (const [key, samples] of this.#samples) {
      if (this.#held <= CAPACITY_SAMPLES) return;
      this.painter.drop(key);
      this.#samples.delete(key);
      this.#held -= samples;
    }
  }
}
