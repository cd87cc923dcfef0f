import { describe, expect, it } from 'vitest';
import { EXAMPLES } from '../../workers/rig/examples.ts';
import {
  correctorSpacersMm,
  plateForShortMm,
  reachFocus,
  type Reach,
} from '../../workers/rig/focus-reach.ts';
import { readSheets, writeSheets } from '../../workers/rig/sheet-file.ts';
import { contradictions, NUMBER_KEYS, whyNot } from '../../workers/rig/sheet-limits.ts';
import { EMPTY_SHEET, focalRatio, rigOf } from '../../workers/rig/sheet.ts';
import {
  circleOverlap,
  fullyLitFieldMm,
  neededStopMm,
  passedFraction,
} from '../../workers/rig/vignetting.ts';

describe('reaching focus', () => {
  // Lengths added by hand; common practice, no source.
  const reach: Reach = {
    focusHeightMm: 18,
    travelMm: 20,
    adapters: [{ name: 'ring', lengthMm: 3 }],
    flangeDepthMm: 17.5,
    glass: null,
  };
  it('falls short with a deep camera and not with a shallow one', () => {
    expect(reachFocus(reach)).toMatchObject({ verdict: 'short-inward', shortMm: 2.5, stackMm: 20.5 });
    expect(reachFocus({ ...reach, flangeDepthMm: 12.5 })).toMatchObject({
      verdict: 'reached',
      rackOutMm: 2.5,
      shortMm: 0,
    });
  });
  it('gains what glass pushes the focus out, and says what plate would do', () => {
    // Plane plate, textbook: 2 mm of 1.5168 gain 0.6814 mm.
    const withGlass = reachFocus({ ...reach, glass: { thicknessMm: 2, index: 1.5168 } });
    expect(withGlass.shortMm).toBeCloseTo(2.5 - 0.6814346, 6);
    const plate = plateForShortMm(2.5);
    expect(reachFocus({ ...reach, glass: { thicknessMm: plate, index: 1.5168 } }).rackOutMm).toBeCloseTo(
      0,
      10,
    );
  });
  it('runs out of travel outwards', () => {
    const far = reachFocus({ ...reach, focusHeightMm: 80 });
    expect(far).toMatchObject({ verdict: 'short-outward', shortMm: 80 - 20.5 - 20 });
    expect(reachFocus({ ...reach, focusHeightMm: 80, travelMm: null }).verdict).toBe('reached');
  });
  it('adds the glass between corrector and sensor to its distance', () => {
    expect(correctorSpacersMm(55, 17.5, 2 / 3)).toBeCloseTo(38.1667, 4);
  });
});

describe('vignetting', () => {
  it('agrees with rays sent through the stop', () => {
    // Rays counted on a grid over the aperture, aimed at the image point: similar triangles only.
    const [apertureMm, focalMm, heightMm] = [100, 400, 6];
    const stop = { diameterMm: 28, toFocusMm: 110 };
    let [all, through] = [0, 0];
    for (let x = -50; x <= 50; x += 0.25)
      for (let y = -50; y <= 50; y += 0.25) {
        if (Math.hypot(x, y) > 50) continue;
        all++;
        const part = stop.toFocusMm / focalMm;
        if (Math.hypot(x * part + heightMm * (1 - part), y * part) <= 14) through++;
      }
    expect(Math.abs(passedFraction(stop, heightMm, apertureMm, focalMm) - through / all)).toBeLessThan(0.003);
  });
  it('lights the field fully up to the rim of what passes all', () => {
    const stop = { diameterMm: 33, toFocusMm: 100 };
    const field = fullyLitFieldMm(stop, 100, 400);
    expect(passedFraction(stop, field / 2 - 0.01, 100, 400)).toBe(1);
    expect(passedFraction(stop, field / 2 + 0.5, 100, 400)).toBeLessThan(1);
    expect(neededStopMm(100, field, 100, 400)).toBeCloseTo(33, 10);
  });
  it('knows the lens of two equal circles', () => {
    // Elementary: unit circles one radius apart share 2π/3 - √3/2.
    expect(circleOverlap(1, 1, 1)).toBeCloseTo((2 * Math.PI) / 3 - Math.sqrt(3) / 2, 12);
    expect(circleOverlap(1, 3, 1)).toBeCloseTo(Math.PI, 12);
    expect(circleOverlap(1, 1, 2)).toBe(0);
  });
});

describe('the sheet', () => {
  it('has sound examples', () => {
    for (const sheet of EXAMPLES) {
      expect(contradictions(sheet)).toEqual([]);
      for (const key of NUMBER_KEYS) if (sheet[key] !== null) expect(whyNot(key, sheet[key]!)).toBeNull();
      expect(focalRatio(sheet)).toBeGreaterThan(3.9);
    }
  });
  it('says in a sentence why a number cannot be', () => {
    expect(whyNot('obstruction', 35)).toBe(
      'Obstruction is diameter over diameter, 0 to 0.8: 35 % is written 0.35.',
    );
    expect(whyNot('latitudeDeg', -33)).toBeNull();
    expect(whyNot('apertureMm', NaN)).toContain('millimetres');
  });
  it('finds what does not fit together', () => {
    const sheet = { ...EXAMPLES[0], apertureMm: 100, focalLengthMm: 40 };
    expect(contradictions(sheet)[0]).toContain('f/0.4');
    expect(contradictions({ ...EXAMPLES[2], obstruction: 0.3 })[0]).toContain('no central obstruction');
    expect(contradictions({ ...EXAMPLES[0], obstruction: 0.1 })[0]).toContain('0.33');
  });
  it('tells the measurement only what was told', () => {
    const { fixed, ...rest } = rigOf({ ...EMPTY_SHEET, apertureMm: 100, pixelSizeUm: 2.9 });
    expect(rest).toEqual({ apertureMm: 100, pixelSizeUm: 2.9 });
    expect(fixed).toEqual({ corrector: false, primary: false, tilt: false, focuserAtStop: false });
  });
});

describe('rig files', () => {
  it('come back as they went out', () => {
    expect(readSheets(writeSheets(EXAMPLES))).toEqual({ ok: true, value: EXAMPLES });
  });
  it.each([
    ['{', 'is no JSON'],
    ['[]', 'holds no rigs'],
    ['{"rigs":[]}', 'holds no rigs'],
    ['{"cornerwiseRigs":2,"rigs":[{}]}', 'newer version'],
    ['{"cornerwiseRigs":1,"rigs":[]}', 'no rig at all'],
    ['{"cornerwiseRigs":1,"rigs":[3]}', 'not a sheet'],
    ['{"cornerwiseRigs":1,"rigs":[{"apertureMm":"100"}]}', 'without quotes'],
    ['{"cornerwiseRigs":1,"rigs":[{"obstruction":35}]}', '35 % is written 0.35'],
    ['{"cornerwiseRigs":1,"rigs":[{"optics":"magic"}]}', 'none of paraboloid'],
    ['{"cornerwiseRigs":1,"rigs":[{"adapters":[{"name":"x"}]}]}', 'adapters'],
    ['{"cornerwiseRigs":1,"rigs":[{"name":"  "}]}', 'no name'],
  ])('%s is answered with a sentence', (text, part) => {
    const outcome = readSheets(text);
    expect(outcome.ok).toBe(false);
    if (outcome.ok) return;
    expect(outcome.fault.message).toContain(part);
    expect(outcome.fault.message).toMatch(/^[A-Z].*[.]$/s);
  });
  it('leaves untold what is missing', () => {
    const outcome = readSheets('{"cornerwiseRigs":1,"rigs":[{"name":"mine"}]}');
    expect(outcome).toEqual({ ok: true, value: [{ ...EMPTY_SHEET, name: 'mine' }] });
  });
});
