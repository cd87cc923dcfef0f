import type { Estimate } from '../protocol/report.ts';
import type { RigSheet } from './sheet.ts';

/** A plate between telescope and camera that leans by screws or shims. */
export interface Adjuster {
  /** Screws, evenly spread on their circle. */
  points: 3 | 4;
  /** Radius of the circle of screws, mm. */
  radiusMm: number;
  /** Where the first one sits, in the picture: degrees from +x towards +y, counted as the picture is stored. */
  firstDeg: number;
  /** How far a whole turn moves the plate, mm; null = shims. */
  pitchMm: number | null;
}

export interface AdjusterPoint {
  atDeg: number;
  /** Change of the distance between telescope and camera at this point, µm: + = more, sum zero, so that focus stays. */
  moveUm: number;
  /** The same in whole turns of the screw; null without a pitch. */
  turns: number | null;
  /** Thickness to put under this point when only adding is possible, µm: one of them is 0. */
  shimUm: number;
}

export interface Adjustment {
  points: AdjusterPoint[];
  /** With shims the sensor as a whole moves away from the telescope by this, µm: focus again. */
  refocusUm: number;
}

const DEG = Math.PI / 180;

/**
 * What each point must give to undo a tilt. `tiltUmPerMm`: rise of the sensor along +x and +y, positive = farther from the
 * optics there. A plane t·r cut at the points: -radius (tx cos ψ + ty sin ψ); elementary, and the least movement for four
 * points, whose opposite pairs move alike and against each other.
 */
export function adjust(tiltUmPerMm: { x: number; y: number }, adjuster: Adjuster): Adjustment {
  const { points, radiusMm, firstDeg, pitchMm } = adjuster;
  const moves = Array.from({ length: points }, (_, k) => {
    const atDeg = firstDeg + (360 * k) / points;
    const along = tiltUmPerMm.x * Math.cos(atDeg * DEG) + tiltUmPerMm.y * Math.sin(atDeg * DEG);
    return { atDeg: wrapped(atDeg), moveUm: -radiusMm * along };
  });
  const lowest = Math.min(...moves.map(({ moveUm }) => moveUm));
  return {
    points: moves.map(({ atDeg, moveUm }) => ({
      atDeg,
      moveUm,
      turns: pitchMm === null ? null : moveUm / (1000 * pitchMm),
      shimUm: moveUm - lowest,
    })),
    refocusUm: -lowest,
  };
}

/** The adjuster that a sheet tells of; null where there is none, or too little is told of it. */
export function adjusterOf(
  sheet: Pick<RigSheet, 'adjuster' | 'adjusterRadiusMm' | 'adjusterPitchMm' | 'adjusterFirstHour'>,
): Adjuster | null {
  const { adjuster, adjusterRadiusMm: radiusMm, adjusterPitchMm: pitchMm, adjusterFirstHour: hour } = sheet;
  if (adjuster === null || adjuster === 'none' || radiusMm === null || hour === null) return null;
  return { points: adjuster === 'three' ? 3 : 4, radiusMm, pitchMm, firstDeg: wrapped(30 * hour - 90) };
}

/** Place on the face of a clock, more than 0 to 12, of a direction in the picture (degrees from +x towards +y; y is down). */
export function clockHour(atDeg: number): number {
  const hour = ((((atDeg + 90) / 30) % 12) + 12) % 12;
  return hour < 1e-9 ? 12 : hour;
}

/**
 * Standard error of each point's `moveUm`, from those of the tilt's components along x and y taken as independent; µm.
 * Of a shim it is the error against the point that needs none.
 */
export function moveSigmas(
  tilt: { x: Estimate; y: Estimate },
  adjuster: Adjuster,
  points: AdjusterPoint[],
): number[] {
  const lowest = points.reduce((low, point) => (point.moveUm < low.moveUm ? point : low)).atDeg * DEG;
  return points.map(({ atDeg }) => {
    const from = adjuster.pitchMm === null ? lowest : null;
    const along = Math.cos(atDeg * DEG) - (from === null ? 0 : Math.cos(from));
    const across = Math.sin(atDeg * DEG) - (from === null ? 0 : Math.sin(from));
    return adjuster.radiusMm * Math.hypot(along * tilt.x.sigma, across * tilt.y.sigma);
  });
}

/** Direction in (-180, 180]. */
const wrapped = (degrees: number): number => 180 - ((((180 - degrees) % 360) + 360) % 360);

/** Tilt from the heights of the points, µm per mm: the plane through them (least squares; exact for three). */
export function tiltOfPoints(heightsUm: readonly number[], adjuster: Adjuster): { x: number; y: number } {
  let [x, y] = [0, 0];
  heightsUm.forEach((height, k) => {
    const at = (adjuster.firstDeg + (360 * k) / adjuster.points) * DEG;
    x += height * Math.cos(at);
    y += height * Math.sin(at);
  });
  const factor = 2 / (heightsUm.length * adjuster.radiusMm);
  return { x: factor * x, y: factor * y };
}
