import { ref, shallowRef } from 'vue';
import type { RunLimits } from '../../workers/protocol/run.ts';
import {
  NO_POLAR,
  type FocusUnit,
  type PolarSaid,
  type RunAbout,
  type StoppedSaid,
} from '../keep/run-shelf.ts';

type Said = Pick<RunAbout, 'words' | 'limits' | 'positions' | 'focusUnit' | 'stopped' | 'polar'>;
const NOTHING: Said = {
  words: {},
  limits: {},
  positions: {},
  focusUnit: 'steps',
  stopped: null,
  polar: NO_POLAR,
};

/** What the person said of a run and its frames; `changed` is called after every word. */
export function runSaid(changed: () => void) {
  const words = shallowRef<Said['words']>({});
  const limits = shallowRef<Said['limits']>({});
  /** Focus positions by the frames' keys, as they were read off the focuser. */
  const positions = shallowRef<Said['positions']>({});
  const focusUnit = ref<FocusUnit>('steps');
  /** The frame that says where east and north lie. */
  const stopped = shallowRef<StoppedSaid | null>(null);
  /** The two fields that give the polar axis. */
  const polar = shallowRef<PolarSaid>(NO_POLAR);

  function take(said: Said): void {
    words.value = said.words;
    limits.value = said.limits;
    positions.value = said.positions;
    focusUnit.value = said.focusUnit;
    stopped.value = said.stopped;
    polar.value = said.polar;
  }
  /** Plain copies, to be stored. */
  const plain = (): Said => ({
    words: { ...words.value },
    limits: { ...limits.value },
    positions: { ...positions.value },
    focusUnit: focusUnit.value,
    stopped: stopped.value,
    polar: polar.value,
  });

  function say(key: string, word: 'keep' | 'drop' | null): void {
    words.value = withEntry(words.value, key, word);
    changed();
  }
  /** Null switches a limit off, undefined lets it follow the run again. */
  function limit(name: keyof RunLimits, value: number | null | undefined): void {
    const rest = { ...limits.value };
    delete rest[name];
    limits.value = value === undefined ? rest : { ...rest, [name]: value };
    changed();
  }
  /** Null takes a position back. */
  function place(told: Record<string, number | null>): void {
    let all = positions.value;
    for (const [key, position] of Object.entries(told)) all = withEntry(all, key, position);
    positions.value = all;
    changed();
  }
  function countFocusIn(unit: FocusUnit): void {
    focusUnit.value = unit;
    changed();
  }
  function orient(by: StoppedSaid | null): void {
    stopped.value = by;
    changed();
  }
  function sayOfPolar(what: Partial<PolarSaid>): void {
    polar.value = { ...polar.value, ...what };
    changed();
  }

  return {
    state: { words, limits, positions, focusUnit, stopped, polar },
    hands: { say, limit, place, countFocusIn, orient, sayOfPolar },
    take,
    forget: () => take(NOTHING),
    plain,
  };
}

/** The same with one entry set; null takes it out. */
function withEntry<T>(all: Record<string, T>, key: string, value: T | null): Record<string, T> {
  const rest = { ...all };
  delete rest[key];
  return value === null ? rest : { ...rest, [key]: value };
}
