import type { RoundCircle } from '../protocol/model.ts';
import type { Rig } from '../protocol/rig.ts';
import type { FieldModel, Verdict } from '../protocol/report.ts';

export type Move = Verdict['next'][number];

/** What a move may refer to. */
export interface MoveContext {
  model: FieldModel;
  rig: Rig;
  focalRatio: number | null;
  exposureS: number | null;
  /** Width that the corners would have without the cause. */
  leftPx: number | null;
  /** Where coma stays below what is worth naming; null without coma that grows with the field. */
  roundCircle: RoundCircle | null;
}

export const say = (value: number, digits = 0) => Math.abs(value).toFixed(digits);

/** A move that would leave what is left without the cause. */
export const cure = (
  { leftPx }: MoveContext,
  text: string,
  when: Move['when'],
  needs: string | null = null,
): Move => ({
  do: text,
  when,
  needs,
  cornerFwhmLeftPx: when === 'not-possible' ? null : leftPx,
});

/** A move that tells more, or makes the best of it, but cures nothing by itself. */
export const advice = (text: string, when: Move['when'], needs: string | null = null): Move => ({
  do: text,
  when,
  needs,
  cornerFwhmLeftPx: null,
});

/** Whether a corrector or flattener sits before the camera; only where the user said what the optics are. */
export const hasCorrector = ({ optics }: Rig) =>
  optics === 'corrected-reflector' || optics === 'flattened-refractor';
