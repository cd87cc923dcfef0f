import type { Cause, FieldModel } from '../protocol/report.ts';

const WORDS: Record<Cause, string> = {
  clean: 'the stars are round to the corners',
  seeing: 'round blur that is the same everywhere: air, tube or shake',
  focus: 'the sensor is out of focus',
  tilt: 'the sensor leans against the focal surface',
  curvature: 'the focal surface is curved',
  coma: 'coma that grows towards the corners',
  collimation: 'coma whose centre lies off the sensor’s middle: mirrors out of line, or the camera off axis',
  astigmatism: 'astigmatism',
  pinching: 'three-cornered stars: something pinches the optics',
  spherical: 'spherical aberration',
  trailing: 'the stars moved during the exposure',
  rotation: 'the field turned during the exposure',
  dispersion: 'the air spreads the colours',
};

/** How sure, in words. */
export const sureness = (confidence: number): string =>
  confidence >= 0.9 ? 'Almost surely' : confidence >= 0.65 ? 'Likely' : 'Cannot tell for sure; perhaps';

/** One sentence: how sure, what, and what it costs in the corners. */
export function headline(
  cause: Cause,
  confidence: number,
  model: FieldModel,
  widths: { cornerFwhmPx: number; withoutPx: number | null },
): string {
  const sure = sureness(confidence);
  const { cornerFwhmPx, withoutPx } = widths;
  if (cause === 'clean')
    return `${sure} nothing worth fixing: ${WORDS.clean}, ${cornerFwhmPx.toFixed(1)} px wide.`;
  const what =
    cause === 'trailing' && model.motion.lengthPx
      ? `${WORDS.trailing}, by ${model.motion.lengthPx.value.toFixed(1)} px${PATH_WORDS[model.motion.path]}`
      : WORDS[cause];
  const cost =
    withoutPx !== null && withoutPx < cornerFwhmPx - 0.05
      ? ` In the very corners stars are ${cornerFwhmPx.toFixed(1)} px wide and would be ${withoutPx.toFixed(1)} px without it.`
      : '';
  return `${sure} ${what}.${cost}`;
}

/** What is not perfect, but within what the user called good enough. */
export const goodEnough = (confidence: number, cause: Cause, times: number): string =>
  `${sureness(confidence)} good enough to start the run: corner stars are ${((times - 1) * 100).toFixed(0)} % wider than air and pixels leave them, within your limit. Most of it: ${WORDS[cause]}.`;

const PATH_WORDS = { none: '', straight: ' along a line', jump: ' in one jump', swing: ' to and fro' };
