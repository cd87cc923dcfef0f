import { ref, shallowRef } from 'vue';
import type { RunLimits } from '../../workers/protocol/run.ts';
import type { FocusUnit, RunAbout, StoppedSaid } from '../keep/run-shelf.ts';

type Said = Pick<RunAbout, 'words' | 'limits' | 'positions' | 'focusUnit' | 'stopped'>;
const NOTHING: Said = { words: {}, limits: {}, positions: {}, focusUnit: 'steps', stopped: null };

/** What the person said of a run and its frames; `changed` is called after every word. */
export function runSaid(changed: () => void) {
  const words = shallowRef<Said['words']>({});
  const limits = shallowRef<Said['limits']>({});
  /** Focus positions by the frames' keys, as they were read off the focuser. */
  const positions = shallowRef<Said['positions']>({});
  const focusUnit = ref<FocusUnit>('steps');
  /** The frame that says where east and north lie. */
  const stopped = shallowRef<StoppedSaid | null>(null);

  function take(said: Said): void {
    words.value = said.words;
    limits.value = said.limits;
    positions.value = said.positions;
    focusUnit.value = said.focusUnit;
    stopped.value = said.stopped;
  }
  /** Plain copies, to be stored. */
  const plain = (): Said => ({
    words: { ...words.value },
    limits: { ...limits.value },
    positions: { ...positions.value },
    focusUnit: focusUnit.value,
    stopped: stopped.value,
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

  return {
    state: { words, limits, positions, focusUnit, stopped },
    hands: { say, limit, place, countFocusIn, orient },
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
