import { focusRun } from '../workers/series/focus-run.ts';
import { drawnRun, rayRecords } from '../test/series/focus-rays.ts';

/**
 * Fifty focus runs drawn by rays (7 to 9 frames, f/4 to f/6, coma and astigmatism a tenth, or those, of a bare mirror): how many keep
 * tilt within 3 % and 2 degrees, focus within a tenth of 4.88 λF² and the sign; and how honest the errors are.
 */
export async function run([many = '50']: string[]): Promise<void> {
  const count = { all: 0, within: 0, sign: 0 };
  for (const [title, coma] of [
    ['corrected', 0.1],
    ['bare mirror', 1],
  ] as const) {
    const pulls = { tilt: [] as number[], focus: [] as number[], curvature: [] as number[] };
    const curvatureOff: number[] = [];
    Object.assign(count, { all: 0, within: 0, sign: 0 });
    for (let seed = 0; seed < Number(many); seed++) {
      const run = drawnRun(seed, { coma, astigmatism: coma });
      const answer = focusRun(rayRecords(run), { focusUmPerStep: run.umPerStep });
      count.all++;
      if (!answer.ok || !answer.value.tilt) continue;
      const { tilt, report } = answer.value;
      const [x, y] = [tilt.vector.x.value, tilt.vector.y.value];
      const { x: tx, y: ty } = run.tiltUmPerMm;
      const size = Math.hypot(x, y) / Math.hypot(tx, ty) - 1;
      const turnDeg = (Math.atan2(y * tx - x * ty, x * tx + y * ty) * 180) / Math.PI;
      const focusUm = (report.bestPosition!.value - run.bestPosition) * run.umPerStep;
      if (x * tx + y * ty > 0) count.sign++;
      const good =
        Math.abs(size) < 0.03 &&
        Math.abs(turnDeg) < 2 &&
        Math.abs(focusUm) < 0.1 * 4.88 * 0.55 * run.focalRatio ** 2;
      if (good) count.within++;
      else
        console.log(
          `  run ${seed}: f/${run.focalRatio}, tilt ${(100 * size).toFixed(1)} %, ${turnDeg.toFixed(1)}°, focus ${focusUm.toFixed(1)} µm`,
        );
      pulls.tilt.push((Math.hypot(x, y) - Math.hypot(tx, ty)) / tilt.umPerMm.sigma);
      pulls.focus.push((report.bestPosition!.value - run.bestPosition) / report.bestPosition!.sigma);
      curvatureOff.push(report.curvaturePerM!.value - run.curvaturePerM);
      pulls.curvature.push((report.curvaturePerM!.value - run.curvaturePerM) / report.curvaturePerM!.sigma);
    }
    console.log(`${title}: ${count.within} of ${count.all} within, sign right in ${count.sign}`);
    console.log(`  curvature off by ${rms(curvatureOff).toFixed(2)} 1/m rms`);
    for (const [name, values] of Object.entries(pulls))
      console.log(`  error over its sigma, rms: ${name} ${rms(values).toFixed(2)}`);
  }
}

const rms = (values: number[]) =>
  Math.sqrt(values.reduce((sum, each) => sum + each * each, 0) / values.length);
