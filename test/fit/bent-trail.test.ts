import { describe, expect, test } from 'vitest';
import { P } from '../../workers/fit/parameters.ts';
import { analysed, drawnStamps, fieldScene } from './field.ts';

/** Truth: the scene that the simulator drew, which shares no code with the fit. */
describe('trails that are no line, no jump and no swing', () => {
  const nodesUm = [
    { x: 0, y: 0 },
    { x: 9, y: 1 },
    { x: 12, y: 9 },
    { x: 12, y: 10 },
    { x: 3, y: 16 },
  ];
  test('a bent trail: tracking, as long as drawn, and no coma in its place', async () => {
    const scene = fieldScene({ motion: [{ kind: 'path', nodesUm }] });
    const { fit, model, verdict } = await analysed(drawnStamps(scene, 7, 6, 23), scene);
    expect(verdict).toMatchObject({ cause: 'trailing' });
    expect(fit.path).toBe('free');
    const corners = nodesUm.flatMap((a) => nodesUm.map((b) => Math.hypot(a.x - b.x, a.y - b.y)));
    const { lengthPx } = model.motion;
    expect(Math.abs(lengthPx!.value - Math.max(...corners) / 3.8)).toBeLessThan(4 * lengthPx!.sigma + 0.03);
    for (const group of ['comaConstant', 'trefoil', 'astigmatism']) expect(fit.groups).not.toContain(group);
    // The pieces themselves, in the order drawn or back again: an exposure does not know which end came first.
    const legs = [0, 1, 2, 3].map((i) => [fit.theta[P.leg1X + 2 * i], fit.theta[P.leg1X + 2 * i + 1]]);
    const drawn = nodesUm
      .slice(1)
      .map((node, i) => [(node.x - nodesUm[i].x) / 3.8, (node.y - nodesUm[i].y) / 3.8]);
    const apart = (found: number[][]) =>
      Math.max(...found.map(([x, y], i) => Math.hypot(x - drawn[i][0], y - drawn[i][1])));
    const back = [...legs].reverse().map(([x, y]) => [-x, -y]);
    expect(Math.min(apart(legs), apart(back))).toBeLessThan(0.15);
  });
});
