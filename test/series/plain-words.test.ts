import { expect, test } from 'vitest';
import { wayOnPicture } from '../../workers/rig/way-on-picture.ts';
import { roughly } from '../../workers/series/plain-words.ts';

// The picture is shown as it is stored: x runs to the right, y down (DEVELOPERS.md, conventions).
test.each([
  [5, 0, 'to the right'],
  [3, 1, 'to the right and a little down'],
  [1, 1, 'to the lower right'],
  [0, 2, 'straight down'],
  [-1, 3, 'down and a little to the left'],
  [-4, 0, 'to the left'],
  [-4, -0.001, 'to the left'],
  [-2, -2, 'to the upper left'],
  [0.1, -7, 'straight up'],
  [3, -1, 'to the right and a little up'],
])('a motion of %f, %f goes %s', (x, y, way) => expect(wayOnPicture(x, y)).toBe(way));

// Two significant digits, whole numbers from ten on, and none below the leading digit of the error (rounding by hand).
test.each([
  [3.1416, 0.01, '3.1'],
  [0.03456, 0.0001, '0.035'],
  [168.44, 1.2, '168'],
  [168.44, 23, '170'],
  [12.34, 0.02, '12'],
  [0.4, 0.3, '0.4'],
  [2, 0, '2.0'],
])('%f known to %f is told as %s', (value, sigma, text) => expect(roughly({ value, sigma })).toBe(text));
