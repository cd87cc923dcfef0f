import type { RoundCircle } from '../../workers/protocol/model.ts';
import type { FrameReport } from '../../workers/protocol/report.ts';
import { plain, shortLength, withError, type LengthUnit, type PixelScale } from '../format/quantity.ts';
import { headingWords } from '../format/words.ts';
import type { RoundMark } from '../stars/round-mark.ts';

/** Where coma does not show, and how far off the sensor it is centred, in words; empty without coma of the field. */
export function circleWords(
  round: RoundCircle | null,
  mark: RoundMark | null,
  { model }: Pick<FrameReport, 'model'>,
  unit: LengthUnit,
  scale: PixelScale,
): string {
  if (!round) return '';
  if (round.coversAll) return 'Coma widens stars by less than an eighth all over the sensor.';
  const radius = shortLength(round.radiusPx, unit, scale, 0);
  const onSky =
    round.radiusArcmin === null || unit === 'arcsec'
      ? ''
      : ` (${plain(round.radiusArcmin, round.radiusArcmin < 10 ? 1 : 0)}′ on the sky)`;
  const circle = `Inside the dashed circle, ${radius}${onSky} about the place that the tails point from, coma widens stars by less than an eighth.`;
  return mark?.off ? `${offSensor(round, mark, model, scale)} ${circle}` : circle;
}

/** How far and which way from the sensor's middle; in millimetres with errors where the pixel size is known. */
function offSensor(
  { centrePx: { x, y } }: RoundCircle,
  { exit, xPx, yPx }: RoundMark,
  model: FrameReport['model'],
  { umPerPx }: PixelScale,
): string {
  const px = Math.hypot(x, y);
  const beyondPx = Math.hypot(xPx - exit.xPx, yPx - exit.yPx);
  const way = headingWords((exit.angleRad * 180) / Math.PI);
  const mm = model?.coma.centreMm;
  if (!umPerPx || !mm?.x || !mm.y)
    return `Coma is centred off the sensor: ${plain(px, 0)} px from its middle towards ${way}, ${plain(beyondPx, 0)} px beyond the border.`;
  const distance = Math.hypot(mm.x.value, mm.y.value);
  const sigma = Math.hypot(mm.x.value * mm.x.sigma, mm.y.value * mm.y.sigma) / Math.max(distance, 1e-9);
  const sideways = `${plain(Math.abs(mm.x.value), 1)} mm ${mm.x.value < 0 ? 'left' : 'right'}`;
  const upwards = `${plain(Math.abs(mm.y.value), 1)} mm ${mm.y.value < 0 ? 'up' : 'down'}`;
  return `Coma is centred off the sensor: ${withError({ value: distance, sigma })} mm from its middle towards ${way} (${sideways}, ${upwards}), ${plain((beyondPx * umPerPx) / 1000, 1)} mm beyond the border.`;
}
