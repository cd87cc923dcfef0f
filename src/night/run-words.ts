/** "3 frames", "1 frame". */
export const framesText = (count: number): string => `${count} ${count === 1 ? 'frame' : 'frames'}`;

/** A span of time as somebody would say it: "40 s", "12 min", "1 h 20 min". */
export function spanText(seconds: number): string {
  if (seconds < 90) return `${Math.max(1, Math.round(seconds))} s`;
  const minutes = Math.round(seconds / 60);
  if (minutes < 90) return `${minutes} min`;
  const rest = minutes % 60;
  return rest === 0 ? `${Math.floor(minutes / 60)} h` : `${Math.floor(minutes / 60)} h ${rest} min`;
}
