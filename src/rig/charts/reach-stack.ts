import { scaleLinear } from 'd3';
import { reachFocus, type Reach } from '../../../workers/rig/focus-reach.ts';
import { box, startDrawing, stroke, write } from './drawing.ts';

/**
 * Everything between drawtube and sensor, to scale along the light (left to right): adapters, filter glass, camera. The
 * hatched bar below is where the focuser can bring the focus; the sensor's line must stand over it. `correctorMm`: shoulder of a
 * corrector above the drawtube's end, null where none is asked for.
 */
export function drawReachStack(
  element: SVGSVGElement,
  data: { reach: Reach; otherFlangesMm: number[]; correctorMm: number | null },
  availableWidth: number,
): void {
  const width = Math.min(availableWidth, 720);
  const height = 250;
  const { reach, correctorMm } = data;
  const answer = reachFocus(reach);
  const travel = reach.travelMm ?? 40;
  const before = answer.stackMm - reach.flangeDepthMm;
  const sensors = [answer.stackMm, ...data.otherFlangesMm.map((flange) => before + flange)];
  const low = Math.min(0, answer.focusMm - travel, correctorMm === null ? 0 : correctorMm - 6) - 3;
  const high = Math.max(answer.focusMm, ...sensors) + 6;
  const x = scaleLinear([low, high], [8, width - 8]);
  const root = startDrawing(
    element,
    width,
    height,
    `Stack to scale: sensor ${answer.stackMm.toFixed(1)} mm above the drawtube, focus between ${(answer.focusMm - travel).toFixed(1)} and ${answer.focusMm.toFixed(1)} mm${correctorMm === null ? '' : `, corrector's shoulder ${Math.abs(correctorMm).toFixed(1)} mm ${correctorMm < 0 ? 'below' : 'above'} the drawtube's end`}`,
  );
  const top = 46;
  const tall = 92;
  const middle = top + tall / 2;

  // The drawtube, from the left up to its end at zero.
  stroke(
    root,
    'rig-line',
    `M${x(low)},${top - 8}H${x(0)}V${top + 6}M${x(low)},${top + tall + 8}H${x(0)}V${top + tall - 6}`,
  );
  write(root, 'drawtube', x(0) - 4, top - 14, x(0) > 90 ? 'end' : 'start');

  let at = 0;
  for (const { name, lengthMm } of reach.adapters) {
    const to = at + lengthMm;
    box(root, 'rig-part', x(Math.min(at, to)), top + 8, Math.abs(x(to) - x(at)), tall - 16);
    if (Math.abs(x(to) - x(at)) > 60)
      write(root, name, (x(at) + x(to)) / 2, middle + 4, 'middle', 'rig-text haloed');
    at = to;
  }
  box(root, 'rig-part camera', x(at), top, x(high) - x(at), tall);
  box(root, 'rig-sky', x(at), top + 18, x(answer.stackMm) - x(at), tall - 36);
  if (reach.glass) {
    const from = Math.max(at, answer.stackMm - 4 - reach.glass.thicknessMm);
    box(root, 'rig-glass', x(from), top + 22, x(from + reach.glass.thicknessMm) - x(from), tall - 44);
  }
  write(root, 'camera', x(high) - 6, top - 8, 'end');
  stroke(root, 'rig-sensor', `M${x(answer.stackMm)},${top + 20}V${top + tall - 20}`);
  for (const flange of data.otherFlangesMm) {
    stroke(root, 'rig-mark', `M${x(before + flange)},${top + 4}V${top + tall + 26}`);
    write(root, `${flange}`, x(before + flange), top + tall + 18, 'middle', 'rig-text haloed');
  }

  // A corrector's shoulder; its body lies towards the mirror, how long it is only its maker knows.
  if (correctorMm !== null) {
    const at = x(correctorMm);
    box(root, 'rig-corrector', Math.max(0, at - 26), top + 24, Math.min(26, at), tall - 48);
    stroke(root, 'rig-mark', `M${at},${top + 12}V${top + tall - 12}`);
    const words = correctorMm < 0 ? 'corrector, inside the drawtube' : 'corrector sits here';
    write(root, words, Math.max(4, at), top - 30, at > width * 0.6 ? 'end' : 'start', 'rig-text haloed');
    stroke(root, 'rig-line-thin', `M${at},${top - 26}V${top + 12}`);
  }

  // Where focus can be.
  const lane = top + tall + 34;
  box(
    root,
    'rig-bar own',
    x(answer.focusMm - travel),
    lane,
    x(answer.focusMm) - x(answer.focusMm - travel),
    12,
  );
  write(
    root,
    reach.travelMm === null ? 'focus can be here (travel not told)' : 'focus can be here',
    (x(answer.focusMm - travel) + x(answer.focusMm)) / 2,
    lane + 28,
    'middle',
  );
  stroke(root, 'rig-line-thin', `M${x(answer.stackMm)},${top + tall - 20}V${lane + 12}`);
  if (answer.verdict !== 'reached') {
    const edge = answer.verdict === 'short-inward' ? answer.focusMm : answer.focusMm - travel;
    const y = lane + 44;
    stroke(
      root,
      'rig-short',
      `M${x(edge)},${y - 6}v12M${x(edge)},${y}H${x(answer.stackMm)}M${x(answer.stackMm)},${y - 6}v12`,
    );
    const centre = (x(edge) + x(answer.stackMm)) / 2;
    write(
      root,
      `${answer.shortMm.toFixed(1)} mm short`,
      Math.min(centre, width - 60),
      y + 22,
      'middle',
      'rig-text strong',
    );
  }
  // A centimetre to measure by.
  stroke(
    root,
    'rig-line-thin',
    `M${x(low) + 4},${height - 10}h${x(10) - x(0)}m0,-4v8M${x(low) + 4},${height - 14}v8`,
  );
  write(root, '10 mm', x(low) + 12 + x(10) - x(0), height - 6);
}
