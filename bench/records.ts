import { serialize } from 'node:v8';
import { judgeRun } from '../workers/series/judge.ts';
import { trackRun } from '../workers/series/track.ts';
import { makeNight } from '../test/series/nights.ts';

const LENGTHS = [100, 500, 2000];
const OPTIONS = { latitudeDeg: 50, longitudeDeg: 10, limits: {}, words: {}, positions: {} };

/** What a run costs as it grows: judging and tracking its records, and how much of each goes back to the page. */
export async function run(): Promise<void> {
  console.log('records | judged ms | tracked ms | judgement kB | tracking kB');
  for (const frames of LENGTHS) {
    const night = makeNight(
      (minutes) => ({ fwhmPx: 2.8 + 0.001 * minutes, temperatureC: 12 - minutes / 120 }),
      { frames, cadenceS: 25, exposureS: 20, stars: 200, motion: (t) => [0.004 * t, 0.002 * t] },
    );
    const records = night.frames.flatMap(([, { record }]) => record ?? []);
    const timed = <T>(work: () => T): [T, number] => {
      const began = performance.now();
      const result = work();
      return [result, performance.now() - began];
    };
    const [judgement, judgedMs] = timed(() => judgeRun(night.frames, OPTIONS));
    const [tracking, trackedMs] = timed(() => trackRun(records, { latitudeDeg: 50, longitudeDeg: 10 }));
    const kB = (value: unknown) => (serialize(value).length / 1024).toFixed(0);
    console.log([frames, judgedMs.toFixed(0), trackedMs.toFixed(0), kB(judgement), kB(tracking)].join(' | '));
  }
}
