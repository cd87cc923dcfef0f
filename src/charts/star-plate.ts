import { contours, geoPath, geoTransform, max } from 'd3';
import type { MeanStar } from '../../workers/protocol/api.ts';
import type { Region } from '../../workers/protocol/report.ts';
import { lightColour } from './colour.ts';
import { drawFieldFrame, drawOutline, type FieldFrame, type FieldSize } from './field-frame.ts';

export interface PlateOptions {
  availableWidth: number;
  maxHeight: number;
  sizeText: string;
  label: string;
  /** What to write under each star. */
  caption: (star: MeanStar) => string;
  /** Pixels of the frame that a picture is across: plates that stand side by side share it. */
  sidePx: number;
  /** The star whose half-peak line is repeated, dotted, on this one. */
  reference: (star: MeanStar) => MeanStar | undefined;
}

/** Heights of the contour bands as parts of the peak: closer below, where the wings tell most. */
const LEVELS = [0.04, 0.07, 0.11, 0.16, 0.22, 0.3, 0.4, 0.5, 0.62, 0.74, 0.86, 0.95];
const CAPTION_HEIGHT = 18;
/** A star is shown this many of the widest star's FWHM across. */
const WIDTHS_ACROSS = 3.2;

/**
 * The average stars of the nine cells at their true places, all to one scale and with gaps between, drawn as height
 * contours of their light; the line at half of the peak is what the width means, the dotted one is the reference's.
 */
export function drawStarPlate(
  element: SVGSVGElement,
  data: FieldSize & { stars: MeanStar[] },
  options: PlateOptions,
): void {
  const frame = drawFieldFrame(element, data, options);
  const cell = { width: frame.width / 3, height: frame.height / 3 };
  const side = Math.max(24, Math.min(cell.width * 0.8, (cell.height - CAPTION_HEIGHT) * 0.86));
  const { sidePx } = options;
  for (const star of data.stars) {
    const left = (star.col + 0.5) * cell.width - side / 2;
    const top = (star.row + 0.5) * cell.height - (side + CAPTION_HEIGHT) / 2;
    const picture = frame.plot.append('g').attr('transform', `translate(${left},${top})`);
    const clip = `plate-${++clips}`;
    const disc = (group: Group) =>
      group
        .append('circle')
        .attr('cx', side / 2)
        .attr('cy', side / 2)
        .attr('r', side / 2);
    disc(picture.append('clipPath').attr('id', clip) as unknown as Group);
    disc(picture).attr('class', 'plate-ground');
    if (star.stars > 0) {
      const inside = picture.append('g').attr('clip-path', `url(#${clip})`);
      drawStar(inside, star, side, sidePx);
      const other = options.reference(star);
      if (other && other.stars > 0) drawHalfPeak(inside, other, side, sidePx, 'plate-reference');
      drawHalfPeak(inside, star, side, sidePx, 'plate-half');
    }
    picture
      .append('text')
      .attr('class', 'plate-caption')
      .attr('x', side / 2)
      .attr('y', side + 15)
      .attr('text-anchor', 'middle')
      .text(options.caption(star));
  }
  drawOutline(frame);
}

let clips = 0;

/** How many pixels of the frame one picture shows: enough for the widest star, never more than was averaged. */
export function pictureSidePx(stars: MeanStar[], regions: Region[]): number {
  const averaged = Math.min(...stars.map((star) => star.side / star.samplesPerPx));
  const widest = max(regions, (region) => region.fwhmPx?.value ?? region.hfdPx?.value);
  return widest ? Math.min(averaged, Math.max(8, WIDTHS_ACROSS * widest)) : averaged;
}

type Group = FieldFrame['plot'];

/** The mean star of the middle cell. */
export const centreStar = (stars: readonly MeanStar[]): MeanStar | undefined =>
  stars.find(({ col, row, cols, rows, stars: n }) => n > 0 && 2 * col === cols - 1 && 2 * row === rows - 1);

function drawStar(group: Group, star: MeanStar, side: number, sidePx: number): void {
  const path = starPath(star, side, sidePx);
  const bands = contours().size([star.side, star.side]).thresholds(LEVELS)(Array.from(star.values));
  for (const band of bands)
    group
      .append('path')
      .attr('d', path(band))
      .attr('fill', lightColour(band.value ** 0.65));
}

function drawHalfPeak(group: Group, star: MeanStar, side: number, sidePx: number, style: string): void {
  const [half] = contours().size([star.side, star.side]).thresholds([0.5])(Array.from(star.values));
  if (!half) return;
  const d = starPath(star, side, sidePx)(half);
  // A dark casing keeps the line visible on the star's bright middle, also under red light.
  for (const name of ['plate-casing', style]) group.append('path').attr('class', name).attr('d', d);
}

/** From samples (contours put sample i at i + 0.5) to the picture, the centroid in the middle. */
function starPath(star: MeanStar, side: number, sidePx: number) {
  const perSample = side / (sidePx * star.samplesPerPx);
  const middle = star.side / 2;
  return geoPath(
    geoTransform({
      point(sx, sy) {
        this.stream.point(side / 2 + (sx - middle) * perSample, side / 2 + (sy - middle) * perSample);
      },
    }),
  );
}
