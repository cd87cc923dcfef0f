import type { FocusRunResult } from '../../workers/protocol/focus-run.ts';
import type { Cut, SectionPoint } from '../charts/focus-section.ts';

const STEPS = 40;

/**
 * Distance of the sensor from focus at the best position for the whole frame, along the tilt through the sensor's middle:
 * z = focus + tilt·r - curvature r²/2, µm; null where step or pixel size are not known. The errors of focus, tilt and
 * curvature are added in squares.
 */
export function focusSection(
  { report, compromisePosition, tilt }: FocusRunResult,
  pixelSizeUm: number | null,
  widthPx: number,
  heightPx: number,
  cutAlong: (size: { widthPx: number; heightPx: number }, dx: number, dy: number) => Cut,
): SectionPoint[] | null {
  const { bestPosition, umPerStep, curvaturePerM } = report;
  if (!bestPosition || !umPerStep || !tilt || !pixelSizeUm) return null;
  const angle = (tilt.directionDeg.value * Math.PI) / 180;
  const cut = cutAlong({ widthPx, heightPx }, Math.cos(angle), Math.sin(angle));
  const reachMm = (Math.hypot(cut.toX - cut.fromX, cut.toY - cut.fromY) / 2) * (pixelSizeUm / 1000);
  const focusUm = umPerStep.value * (compromisePosition.value - bestPosition.value);
  return Array.from({ length: STEPS + 1 }, (_, i) => {
    const at = reachMm * ((2 * i) / STEPS - 1);
    return {
      at,
      defocusUm: {
        // mm² per metre are µm: the curvature needs no other factor.
        value: focusUm + tilt.umPerMm.value * at - ((curvaturePerM?.value ?? 0) * at * at) / 2,
        sigma: Math.hypot(
          umPerStep.value * bestPosition.sigma,
          tilt.umPerMm.sigma * at,
          ((curvaturePerM?.sigma ?? 0) * at * at) / 2,
        ),
      },
    };
  });
}
