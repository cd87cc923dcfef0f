import { startDrawing, write, box } from './drawing.ts';

/** Exposures that collect equal light per area of sensor: one bar per focal ratio, as long as the time. */
export function drawSpeed(
  element: SVGSVGElement,
  bars: { name: string; text: string; seconds: number; own: boolean }[],
  availableWidth: number,
): void {
  const width = Math.min(availableWidth, 560);
  const row = 30;
  const root = startDrawing(
    element,
    width,
    bars.length * row + 4,
    `Equal light: ${bars.map(({ name, text }) => `${name} ${text}`).join(', ')}`,
  );
  const longest = Math.max(...bars.map(({ seconds }) => seconds));
  const room = width - 60 - 80;
  bars.forEach((bar, i) => {
    const y = i * row;
    write(root, bar.name, 48, y + 20, 'end', bar.own ? 'rig-text strong' : 'rig-text');
    const length = (bar.seconds / longest) * room;
    box(root, bar.own ? 'rig-bar own' : 'rig-bar', 60, y + 5, length, row - 10);
    write(root, bar.text, 68 + length, y + 20, 'start', bar.own ? 'rig-text strong' : 'rig-text');
  });
}
