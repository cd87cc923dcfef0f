import { centreStar, drawStarPlate, pictureSidePx } from '../charts/star-plate.ts';
import { NO_VALUE, shortLength } from '../format/quantity.ts';
import { sizeOf } from '../story/comparison.ts';
import { Markup } from './markup.ts';
import type { ReportSubject } from './subject.ts';

/** The average stars at their places as a drawing that needs nothing but `PLATE_RULES`. */
export function plateDrawing(
  { report, meanStars, unit, scale }: ReportSubject,
  widthPx: number,
): SVGSVGElement {
  const element = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
  const { frame } = report;
  if (!frame || meanStars.length === 0) return element;
  const size = sizeOf(report);
  const centre = centreStar(meanStars);
  drawStarPlate(
    element,
    { widthPx: frame.widthPx, heightPx: frame.heightPx, stars: meanStars },
    {
      availableWidth: widthPx,
      maxHeight: 0.85 * widthPx,
      sizeText: `${frame.widthPx} × ${frame.heightPx} px`,
      label: 'Average star of each ninth of the sensor, drawn at its place.',
      sidePx: pictureSidePx(meanStars, report.regions),
      caption: ({ col, row }) => {
        const px = report.regions.find((region) => region.col === col && region.row === row)?.[size]?.value;
        return px ? shortLength(px, unit, scale, 2) : NO_VALUE;
      },
      reference: (star) => (star === centre ? undefined : centre),
    },
  );
  return element;
}

export function plateMarkup(subject: ReportSubject, widthPx: number): Markup {
  const element = plateDrawing(subject, widthPx);
  const [width, height] = [element.getAttribute('width'), element.getAttribute('height')];
  if (width && height) element.setAttribute('viewBox', `0 0 ${width} ${height}`);
  return new Markup(new XMLSerializer().serializeToString(element));
}
