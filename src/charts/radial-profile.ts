import { axisBottom, axisLeft, line, range, scaleLinear, select } from 'd3';

export interface ProfilePoint {
  radiusPx: number;
  /** Above the background, over the peak. */
  height: number;
}

/**
 * Pixels of a star by distance from its centroid, heights over `peak`, by itself the brightest pixel's. `values`
 * row-major, side x side.
 */
export function profilePoints(
  values: ArrayLike<number>,
  side: number,
  centreX: number,
  centreY: number,
  backgroundAdu: number,
  maxRadiusPx: number,
  peak?: number,
): ProfilePoint[] {
  let brightest = 0;
  const points: ProfilePoint[] = [];
  for (let y = 0; y < side; y++)
    for (let x = 0; x < side; x++) {
      const radiusPx = Math.hypot(x - centreX, y - centreY);
      const height = values[y * side + x] - backgroundAdu;
      if (radiusPx > maxRadiusPx || !Number.isFinite(height)) continue;
      brightest = Math.max(brightest, height);
      points.push({ radiusPx, height });
    }
  const over = peak ?? brightest;
  return over > 0 ? points.map((p) => ({ ...p, height: p.height / over })) : [];
}

/** The points, a line through them, the half-height line and the radius of half the FWHM. */
export function drawRadialProfile(
  element: SVGSVGElement,
  data: { points: ProfilePoint[]; line: ProfilePoint[]; fwhmPx: number; maxRadiusPx: number },
  options: { availableWidth: number; height: number; unitText: string; perPx: number; label: string },
): void {
  const margin = { top: 10, right: 12, bottom: 38, left: 40 };
  const width = options.availableWidth - margin.left - margin.right;
  const height = options.height - margin.top - margin.bottom;
  const svg = select(element)
    .attr('width', options.availableWidth)
    .attr('height', options.height)
    .attr('role', 'img')
    .attr('aria-label', options.label);
  svg.selectAll('*').remove();
  const plot = svg.append('g').attr('transform', `translate(${margin.left},${margin.top})`);
  const x = scaleLinear([0, data.maxRadiusPx * options.perPx], [0, width]);
  // A model's core may be brighter than pixels that the camera cut off.
  const top = 1.05 * Math.max(1, ...data.line.map((p) => p.height));
  const y = scaleLinear([-0.08, top], [height, 0]);
  plot
    .append('g')
    .attr('class', 'axis')
    .attr('transform', `translate(0,${height})`)
    .call(axisBottom(x).ticks(5).tickSizeOuter(0));
  plot
    .append('g')
    .attr('class', 'axis')
    .call(
      axisLeft(y)
        .tickValues(top > 2 ? y.ticks(4) : [0, 0.25, 0.5, 0.75, 1])
        .tickFormat((v) => `${Math.round(v.valueOf() * 100)}`),
    );
  plot
    .append('text')
    .attr('class', 'axis-title')
    .attr('x', width)
    .attr('y', height + 34)
    .attr('text-anchor', 'end')
    .text(`radius, ${options.unitText}`);
  plot
    .append('path')
    .attr('class', 'profile-half')
    .attr('d', `M0,${y(0.5)}H${width}`);
  if (Number.isFinite(data.fwhmPx))
    plot
      .append('path')
      .attr('class', 'profile-half')
      .attr('d', `M${x((data.fwhmPx / 2) * options.perPx)},${y(-0.08)}V${y(top)}`);
  plot
    .append('g')
    .selectAll('circle')
    .data(data.points)
    .join('circle')
    .attr('class', 'profile-point')
    .attr('cx', (p) => x(p.radiusPx * options.perPx))
    .attr('cy', (p) => y(p.height))
    .attr('r', 2);
  plot
    .append('path')
    .attr('class', 'profile-line')
    .attr(
      'd',
      line<ProfilePoint>(
        (p) => x(p.radiusPx * options.perPx),
        (p) => y(p.height),
      )(data.line),
    );
}

/** Medians of the heights in rings half a pixel wide; empty rings are left out. */
export function runningMedian(points: ProfilePoint[], maxRadiusPx: number): ProfilePoint[] {
  return range(0, maxRadiusPx, 0.5).flatMap((from) => {
    const inside = points.filter((p) => p.radiusPx >= from && p.radiusPx < from + 0.5);
    if (inside.length === 0) return [];
    const heights = inside.map((p) => p.height).sort((a, b) => a - b);
    const middle = heights.length >> 1;
    return [
      {
        radiusPx: inside.reduce((sum, p) => sum + p.radiusPx, 0) / inside.length,
        height: heights.length % 2 ? heights[middle] : (heights[middle - 1] + heights[middle]) / 2,
      },
    ];
  });
}
