const WAYS = [
  'to the right',
  'to the right and a little down',
  'to the lower right',
  'down and a little to the right',
  'straight down',
  'down and a little to the left',
  'to the lower left',
  'to the left and a little down',
  'to the left',
  'to the left and a little up',
  'to the upper left',
  'up and a little to the left',
  'straight up',
  'up and a little to the right',
  'to the upper right',
  'to the right and a little up',
];

/** A direction as the eye sees it on the picture, first row on top: one of sixteen. */
export function wayOnPicture(xPx: number, yPx: number): string {
  const sixteenth = Math.round((Math.atan2(yPx, xPx) * 8) / Math.PI);
  return WAYS[(sixteenth + 16) % 16];
}
