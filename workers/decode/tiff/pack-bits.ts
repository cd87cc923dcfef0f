/** PackBits (TIFF 6.0, section 9): runs and copies. Returns how many bytes came before `target` was full or the end. */
export function unpackBits(packed: Uint8Array, target: Uint8Array): number {
  let filled = 0;
  for (let at = 0; at < packed.length && filled < target.length;) {
    const control = packed[at++];
    if (control < 128) {
      const copy = packed.subarray(at, Math.min(at + control + 1, at + target.length - filled));
      target.set(copy, filled);
      filled += copy.length;
      at += control + 1;
    } else if (control > 128 && at < packed.length) {
      const end = Math.min(target.length, filled + 257 - control);
      target.fill(packed[at++], filled, end);
      filled = end;
    }
  }
  return filled;
}
