import { describe, expect, test } from 'vitest';
import type { StoppedFrame } from '../../workers/protocol/stopped-drive.ts';
import { driveOfTrails, onOtherSide, secondsToStand, stoppedDrive } from '../../workers/rig/stopped-drive.ts';
import { bytesSource } from '../../workers/decode/sources.ts';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { writeFits16 } from '../../workers/simulate/fits.ts';
import { makeScene } from '../../workers/simulate/scene.ts';
import { testSession } from '../support/star-frames.ts';
import { trackRun } from '../../workers/series/track.ts';
import { makeRun } from './runs.ts';

const DEG = Math.PI / 180;

test('a run with known orientation is split, and the axis named with its hour angle', () => {
  // North up along -y, east to the left: a drift of +x px is westwards, of +y southwards.
  const { records } = makeRun({
    seed: 3,
    frames: 30,
    motion: (t) => [(1.2 * t) / 60 + 3 * Math.sin((2 * Math.PI * t) / 250), (0.6 * t) / 60],
    startTime: '1987-04-10T19:05:00Z',
    pointing: {
      northDeg: -90,
      eastDeg: 180,
      orientationFrom: 'world-coordinates',
      arcsecPerPx: 1.5,
      rightAscensionDeg: 128.74 - 45,
      declinationDeg: 20,
      latitudeDeg: 50,
      longitudeDeg: 0,
    },
  });
  const { sky } = trackRun(records);
  expect(sky!.arcsecPerPx).toBe(1.5);
  expect(Math.abs(sky!.raArcsecPerMin.value + 1.8)).toBeLessThan(0.05);
  expect(Math.abs(sky!.decArcsecPerMin.value + 0.9)).toBeLessThan(0.05);
  expect(Math.abs(sky!.periodicRaArcsec!.value / 4.5 - 1)).toBeLessThan(0.05);
  // The run's middle is 7 min 59 s after its start: 8 min 1 s before that sidereal time; three hours west.
  expect(sky!.polar!.hourAngleH).toBeCloseTo(3 - 8 / 60, 1);
  expect(Math.abs(sky!.polar!.combinationArcmin.value / (0.9 / 0.26252) - 1)).toBeLessThan(0.06);
  // A scale known to 2 % leaves the rates and what follows from them 2 % at least (elementary).
  const scaled = trackRun(records, { arcsecPerPx: 1.5, arcsecPerPxSigma: 0.03 }).sky!;
  for (const { value, sigma } of [scaled.raArcsecPerMin, scaled.polar!.combinationArcmin])
    expect(sigma).toBeGreaterThan(0.02 * Math.abs(value));
  expect(trackRun(makeRun({ seed: 3, frames: 8 }).records).sky).toBeNull();
});

describe('drive switched off', () => {
  // 15.041 cos(40°) arc seconds a second (handbook 7.1) at 1.6 arcsec/px, westwards along 30° from +x.
  const pxPerS = (15.041067 * Math.cos(40 * DEG)) / 1.6;
  const run = (frames: number) =>
    makeRun({
      seed: 5,
      frames,
      cadenceS: 4,
      exposureS: 0.5,
      motion: (t) => [pxPerS * t * Math.cos(30 * DEG), pxPerS * t * Math.sin(30 * DEG)],
    }).records;

  test('two short frames give east and the scale', () => {
    const found = stoppedDrive(trackRun(run(2)).report, 40, false)!;
    expect(Math.abs(found.arcsecPerPx!.value / 1.6 - 1)).toBeLessThan(0.01);
    expect(found.orientation.eastDeg).toBeCloseTo(30 - 180, 0);
    expect(found.directionSigmaDeg).toBeLessThan(1);
    expect(found.orientation.source).toBe('stopped-drive');
  });

  test('north up and east left: first stored row at the top, and the other way', () => {
    const report = trackRun(run(3)).report;
    const west = (angleDeg: number) => ({
      ...report,
      driftPxPerMin: {
        x: { value: 600 * Math.cos(angleDeg * DEG), sigma: 1 },
        y: { value: 600 * Math.sin(angleDeg * DEG), sigma: 1 },
      },
    });
    // The field moves to the right, so east is left; up is -y with the first row at the top, +y with it at the bottom.
    expect(stoppedDrive(west(0), 0, false)!.orientation).toMatchObject({ eastDeg: 180, northDeg: -90 });
    expect(stoppedDrive(west(0), 0, true)!.orientation).toMatchObject({ eastDeg: 180, northDeg: 90 });
  });

  test('a drive that runs is not taken for one that stands; nothing near the pole', () => {
    expect(stoppedDrive(trackRun(makeRun({ seed: 6, frames: 4 }).records).report, 40, false)).toBeNull();
    expect(stoppedDrive(trackRun(run(2)).report, 89, false)).toBeNull();
  });
});

describe('one frame that tracked and then stood', () => {
  const trails = (ranDeg: number, turnDegPerPx = 0, exposureS: number | null = 20): StoppedFrame => ({
    file: 'stopped.fits',
    widthPx: 420,
    heightPx: 300,
    trails: {
      ranDeg: { value: ranDeg, sigma: 0.1 },
      turnDegPerPx: { value: turnDegPerPx, sigma: 1e-4 },
      lengthPx: { value: 150, sigma: 0.5 },
      ranShare: { value: 0.75, sigma: 0.003 },
    },
    exposureS,
    declinationDeg: null,
    pierSide: null,
  });
  const told = { exposureS: null, declinationDeg: 40, mirrored: null };

  test('the bright end is the east, the length over the time gives the scale', () => {
    const found = driveOfTrails(trails(30), told);
    expect(found.orientation).toEqual({ eastDeg: -150, northDeg: -60, source: 'stopped-drive' });
    // 15.041 arc seconds a second (handbook 7.1) for 15 of 20 s, times cos 40°, over 150 px.
    expect(found.arcsecPerPx!.value).toBeCloseTo((15.041067 * 15 * Math.cos(40 * DEG)) / 150, 4);
    expect(found.stoodS!.value).toBeCloseTo(5);
    expect(found.northFrom).toBe('assumed');
  });
  test('north is where the trails bend to, south of the equator where they bend from', () => {
    // Stars that run to the right and bend upwards (towards -y) have the pole above them.
    expect(driveOfTrails(trails(0, -1e-3), told)).toMatchObject({
      orientation: { eastDeg: 180, northDeg: -90 },
      northFrom: 'bend',
    });
    expect(driveOfTrails(trails(0, 1e-3), told).orientation.northDeg).toBe(90);
    expect(driveOfTrails(trails(0, 1e-3), { ...told, declinationDeg: -40 }).orientation.northDeg).toBe(-90);
    expect(driveOfTrails(trails(0, 1e-3), { ...told, mirrored: false }).northFrom).toBe('told');
  });
  test('what is told wins over the file; without exposure or declination there is no scale', () => {
    expect(driveOfTrails(trails(0, 0, null), told).arcsecPerPx).toBeNull();
    expect(driveOfTrails(trails(0), { ...told, declinationDeg: null }).arcsecPerPx).toBeNull();
    expect(driveOfTrails(trails(0), { ...told, declinationDeg: 88 }).arcsecPerPx).toBeNull();
    const byFile = driveOfTrails({ ...trails(0), declinationDeg: 40 }, { ...told, declinationDeg: null });
    expect(byFile).toEqual(driveOfTrails(trails(0), told));
    // The other way of saying the same: half the exposure makes half the scale.
    const halved = driveOfTrails(trails(0), { ...told, exposureS: 10 }).arcsecPerPx!.value;
    expect(halved).toBeCloseTo(byFile.arcsecPerPx!.value / 2, 6);
  });
  test('the other side of the pier turns both directions by a half', () => {
    expect(onOtherSide({ northDeg: -90, eastDeg: 180, source: 'stopped-drive' })).toMatchObject({
      northDeg: 90,
      eastDeg: 0,
    });
  });
  test('stars at the equator run over a third of the frame in the time that is advised', () => {
    // 1216 px of 1.306 arc seconds: a third of 1588 arc seconds at 15.041 a second (handbook 7.1) is 35.2 s.
    expect(secondsToStand(1216, 1.306)).toBe(35);
    expect(secondsToStand(1216, null)).toBe(20);
    expect(secondsToStand(300, 1.3)).toBe(15);
  });

  test('the whole way: drawn by the simulator, measured from its file', async () => {
    // Tracks for 5 s, stands for 15: 21 nodes of a second each. 600 mm and 3.8 µm are 1.3064 arc seconds a pixel.
    const scale = (206265 * 3.8e-3) / 600;
    const pxPerS = (15.041067 * Math.cos(70 * DEG)) / scale;
    const [c, s] = [Math.cos(-25 * DEG), Math.sin(-25 * DEG)];
    const scene = makeScene({
      rig: { widthPx: 420, heightPx: 300 },
      exposureS: 20,
      stars: { count: 24, faintestElectrons: 20_000, brightestElectrons: 300_000, slope: 0.5 },
      motion: [
        {
          kind: 'path',
          nodesUm: Array.from({ length: 21 }, (_, i) => {
            const um = 3.8 * pxPerS * Math.max(0, i - 5);
            return { x: um * c, y: um * s };
          }),
        },
      ],
      seed: 4,
    });
    const drawn = simulateExposure(scene);
    const bytes = writeFits16(drawn.pixels, drawn.widthPx, drawn.heightPx, [['EXPTIME', 20]]);
    const session = await testSession();
    const measured = await session.measure(bytesSource('stopped.fits', bytes), { rig: {} });
    if (!measured.ok) throw new Error(measured.fault.message);
    const answer = session.stoppedFrame(measured.value.handle, 'stopped.fits');
    if (!answer.ok) throw new Error(answer.fault.message);
    const found = driveOfTrails(answer.value, { exposureS: null, declinationDeg: 70, mirrored: false });
    expect(found.orientation.eastDeg).toBeCloseTo(155, 0);
    expect(Math.abs(found.arcsecPerPx!.value / scale - 1)).toBeLessThan(0.03);
    expect(Math.abs(found.stoodS!.value - 5)).toBeLessThan(0.3);
  });
});
