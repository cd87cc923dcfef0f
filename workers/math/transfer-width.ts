const STEPS = 600;
const TURNS = 48;
const HALVINGS = 40;

/** Bessel's J0 by its integral over a turn; the trapezoid rule converges exponentially. Right to 1e-12 up to x = 30. */
function besselJ0(x: number): number {
  let sum = 0;
  for (let i = 0; i < TURNS; i++) sum += Math.cos(x * Math.sin((Math.PI * (i + 0.5)) / TURNS));
  return sum / TURNS;
}

/**
 * Full width at half maximum of the round image whose transfer function is given (cycles per length, 1 at zero):
 * the Hankel transform, halved by bisection. `reach`: frequency beyond which next to nothing is left, a few cycles per
 * width.
 */
export function fwhmOfTransfer(transfer: (frequency: number) => number, reach: number): number {
  const step = reach / STEPS;
  const weights = Float64Array.from({ length: STEPS }, (_, i) => transfer((i + 0.5) * step) * (i + 0.5));
  const imageAt = (radius: number) =>
    weights.reduce((sum, weight, i) => sum + weight * besselJ0(2 * Math.PI * radius * (i + 0.5) * step), 0);
  const half = imageAt(0) / 2;
  // An image is never sharper than its highest frequency allows.
  let inside = 0;
  let outside = 0.25 / reach;
  while (imageAt(outside) > half && outside < 4 / reach) {
    inside = outside;
    outside += 0.25 / reach;
  }
  for (let i = 0; i < HALVINGS; i++) {
    const middle = (inside + outside) / 2;
    if (imageAt(middle) > half) inside = middle;
    else outside = middle;
  }
  return inside + outside;
}
