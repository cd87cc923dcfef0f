import { expect, test } from 'vitest';
import { altitudeDeg, nextSunriseMs, sunAltitudeDeg } from '../../workers/rig/sky-clock.ts';

// astropy 5.2.1: get_sun and SkyCoord(83.82°, -5.39°, ICRS) in AltAz without refraction; the rising is where the Sun's
// centre passes -0.833°, interpolated over minutes.
const SEEN: [lat: number, lon: number, utc: string, sun: number, star: number, rises: string][] = [
  [50.1, 8.7, '2026-10-17T20:00:00', -33.562, -16.317, '2026-10-18T05:51:54'],
  [50.1, 8.7, '2026-03-05T05:30:00', -5.71, -44.496, '2026-03-05T06:00:31'],
  [50.1, 8.7, '2030-06-21T02:10:00', -8.089, -30.847, '2030-06-21T03:15:24'],
  [-33.9, 18.4, '2026-10-17T20:00:00', -33.638, -4.763, '2026-10-18T04:01:25'],
  [-33.9, 18.4, '2026-03-05T05:30:00', 10.016, -50.724, '2026-03-06T04:38:20'],
  [0, -78.5, '2026-10-17T20:00:00', 44.049, -72.844, '2026-10-18T10:55:48'],
  [64.1, -21.9, '2026-03-05T05:30:00', -19.071, -24.497, '2026-03-05T08:21:16'],
  [64.1, -21.9, '2030-06-21T02:10:00', -2.107, -30.186, '2030-06-21T02:56:20'],
];

test.each(SEEN)('%d° %d° at %s', (latitudeDeg, longitudeDeg, utc, sun, star, rises) => {
  const site = { latitudeDeg, longitudeDeg };
  const timeMs = Date.parse(`${utc}Z`);
  // The formula promises 0.01°, the right ascension's equation of the equinoxes adds less.
  expect(Math.abs(sunAltitudeDeg(site, timeMs) - sun)).toBeLessThan(0.03);
  // Precession since 2000 (up to 0.0056° of sky a year, so 0.17° by 2030) is left out for stars: airmass needs no more.
  expect(Math.abs(altitudeDeg(83.82, -5.39, site, timeMs) - star)).toBeLessThan(0.45);
  // Far north the Sun climbs 0.1° a minute: 0.02° are 12 s there.
  expect(Math.abs(nextSunriseMs(site, timeMs)! - Date.parse(`${rises}Z`)) / 1000).toBeLessThan(30);
});

test('no sunrise in the polar night, nor where the Sun does not set', () => {
  const cape = { latitudeDeg: 78, longitudeDeg: 15 };
  expect(nextSunriseMs(cape, Date.UTC(2026, 11, 21))).toBeNull();
  expect(nextSunriseMs(cape, Date.UTC(2026, 5, 21))).toBeNull();
});
