import { lengthWithError } from '../format/quantity.ts';
import { compare } from '../story/comparison.ts';
import { headlineOf } from './html.ts';
import { plateDrawing } from './plate.ts';
import { PLATE_RULES } from './style.ts';
import type { ReportSubject } from './subject.ts';

const [WIDTH, HEIGHT, MARGIN, COLUMN] = [1600, 900, 60, 620];
const SERIF = "'Iowan Old Style', 'Palatino Linotype', Palatino, Georgia, 'DejaVu Serif', serif";
const PLAIN = "system-ui, 'Segoe UI', Roboto, 'Liberation Sans', Arial, sans-serif";

/** One picture to share: what was found in words, the two sizes, and the average stars at their places. */
export async function reportPicture(subject: ReportSubject): Promise<Blob> {
  const canvas = document.createElement('canvas');
  canvas.width = WIDTH;
  canvas.height = HEIGHT;
  const context = canvas.getContext('2d')!;
  context.fillStyle = '#0e1214';
  context.fillRect(0, 0, WIDTH, HEIGHT);
  await drawPlate(context, subject);
  const { centrePx, cornersPx, size } = compare(subject.report);
  const length = (estimate: typeof centrePx) => lengthWithError(estimate, subject.unit, subject.scale);
  const pen = new Pen(context, MARGIN, MARGIN, COLUMN - MARGIN);
  pen.write(headlineOf(subject), `40px ${SERIF}`, 52, '#ece5d3', 9);
  pen.space(24);
  pen.write(
    size === 'fwhmPx' ? 'Width of the stars (FWHM)' : 'Half-flux diameter',
    `22px ${PLAIN}`,
    32,
    '#b5ae9c',
  );
  pen.write(`Centre ${length(centrePx)}`, `30px ${PLAIN}`, 42, '#ece5d3');
  pen.write(`Corners ${length(cornersPx)}`, `30px ${PLAIN}`, 42, '#ece5d3');
  for (const { name, text } of subject.told) pen.write(`${name}: ${text}`, `20px ${PLAIN}`, 28, '#b5ae9c', 2);
  context.font = `18px ${PLAIN}`;
  context.fillStyle = '#b5ae9c';
  context.fillText('Cornerwise · from one raw exposure · ± standard error', MARGIN, HEIGHT - MARGIN / 2);
  return new Promise((resolve, reject) =>
    canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error('no picture'))), 'image/png'),
  );
}

async function drawPlate(context: CanvasRenderingContext2D, subject: ReportSubject): Promise<void> {
  const room = WIDTH - COLUMN - 2 * MARGIN;
  // Drawn small and scaled up, so that captions keep their share of the picture.
  const element = plateDrawing(subject, room / 1.4);
  const [width, height] = [Number(element.getAttribute('width')), Number(element.getAttribute('height'))];
  if (!(width > 0 && height > 0)) return;
  element.setAttribute('viewBox', `0 0 ${width} ${height}`);
  element.setAttribute('width', String(1.4 * width));
  element.setAttribute('height', String(1.4 * height));
  const style = document.createElementNS('http://www.w3.org/2000/svg', 'style');
  style.textContent = PLATE_RULES;
  element.prepend(style);
  const image = new Image();
  image.src = `data:image/svg+xml,${encodeURIComponent(new XMLSerializer().serializeToString(element))}`;
  await image.decode();
  context.drawImage(image, COLUMN + MARGIN, (HEIGHT - 1.4 * height) / 2, 1.4 * width, 1.4 * height);
}

/** Writes lines downwards, broken at words. */
class Pen {
  constructor(
    private readonly context: CanvasRenderingContext2D,
    private readonly left: number,
    private top: number,
    private readonly width: number,
  ) {}

  write(text: string, font: string, lineHeight: number, colour: string, most = 3): void {
    this.context.font = font;
    this.context.fillStyle = colour;
    for (const line of this.lines(text, most))
      this.context.fillText(line, this.left, (this.top += lineHeight), this.width);
  }

  space(height: number): void {
    this.top += height;
  }

  private lines(text: string, most: number): string[] {
    const lines = [''];
    for (const word of text.split(' ')) {
      const longer = `${lines.at(-1)} ${word}`.trim();
      if (this.context.measureText(longer).width <= this.width || !lines.at(-1))
        lines[lines.length - 1] = longer;
      else if (lines.length < most) lines.push(word);
      else {
        lines[lines.length - 1] += ' …';
        break;
      }
    }
    return lines;
  }
}
