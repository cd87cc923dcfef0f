import type { SkyObject } from '../../../workers/rig/sky-objects.ts';
import { box, startDrawing, write } from './drawing.ts';

/** One small field per object, all to one scale: the sensor's outline over the ellipse of the object. */
export function drawSkyFields(
  element: SVGSVGElement,
  data: { widthArcmin: number; heightArcmin: number; objects: SkyObject[] },
  availableWidth: number,
): void {
  const columns = Math.max(
    1,
    Math.min(data.objects.length, availableWidth < 520 ? 2 : Math.floor(availableWidth / 250)),
  );
  const cell = Math.min(280, availableWidth / columns - 8);
  const rows = Math.ceil(data.objects.length / columns);
  const largest = Math.max(...data.objects.map(({ majorArcmin }) => majorArcmin), 0);
  const perArcmin = Math.min(
    (0.62 * cell) / Math.max(data.widthArcmin, data.heightArcmin),
    (0.96 * cell) / largest,
  );
  const tall = Math.max(0.6 * cell, data.heightArcmin * perArcmin + 0.3 * cell);
  const names = data.objects.map(({ name }) => name).join('; ');
  const root = startDrawing(
    element,
    availableWidth,
    rows * (tall + 46),
    `The sensor’s outline over objects at one scale: ${names}`,
  );
  data.objects.forEach((object, i) => {
    const left = (i % columns) * (cell + 8);
    const top = Math.floor(i / columns) * (tall + 46);
    const id = `sky-field-${i}-${++drawn}`;
    root
      .append('clipPath')
      .attr('id', id)
      .append('rect')
      .attr('x', left)
      .attr('y', top)
      .attr('width', cell)
      .attr('height', tall);
    const inside = root.append('g').attr('clip-path', `url(#${id})`);
    box(inside, 'rig-sky', left, top, cell, tall);
    inside
      .append('ellipse')
      .attr('class', 'rig-object')
      .attr('cx', left + cell / 2)
      .attr('cy', top + tall / 2)
      .attr('rx', (object.majorArcmin / 2) * perArcmin)
      .attr('ry', (object.minorArcmin / 2) * perArcmin);
    const [w, h] = [data.widthArcmin * perArcmin, data.heightArcmin * perArcmin];
    box(inside, 'rig-outline', left + (cell - w) / 2, top + (tall - h) / 2, w, h);
    const [name, more] = object.name.split(', ');
    write(root, name, left, top + tall + 16, 'start', 'rig-text strong');
    const size =
      object.majorArcmin === object.minorArcmin
        ? `${object.majorArcmin}′`
        : `${object.majorArcmin}′ × ${object.minorArcmin}′`;
    write(root, size, left + cell, top + tall + 16, 'end');
    if (more) write(root, more, left, top + tall + 33);
  });
}

/** Up to `most` objects between a small part of the frame and a few times as large, spread evenly over the list. */
export function fittingObjects(objects: SkyObject[], widthArcmin: number, most: number): SkyObject[] {
  const near = objects.filter(
    ({ majorArcmin }) => majorArcmin > 0.06 * widthArcmin && majorArcmin < 2.6 * widthArcmin,
  );
  if (near.length <= most) return near;
  return Array.from({ length: most }, (_, i) => near[Math.round((i * (near.length - 1)) / (most - 1))]);
}

let drawn = 0;
