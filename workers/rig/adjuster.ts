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
