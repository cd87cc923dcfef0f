const CLEAR = 256;
const END = 257;
const MOST_CODES = 4096;

/**
 * LZW as in TIFF 6.0, section 13: codes of 9 to 12 bits, highest bit first, one code early. Every code's string has
 * stood in the output before, so the table holds places in `target` instead of strings. Returns how many bytes came
 * before the end, `target` was full, or the codes made no sense.
 */
export function unpackLzw(packed: Uint8Array, target: Uint8Array): number {
  const places = new Uint32Array(MOST_CODES);
  const lengths = new Uint32Array(MOST_CODES);
  let filled = 0;
  let free = END + 1;
  let width = 9;
  let [previousAt, previousLength] = [0, 0];
  let [word, bits] = [0, 0];
  for (let at = 0; filled < target.length;) {
    while (bits < width && at < packed.length) {
      word = ((word << 8) | packed[at++]) & 0xffffff;
      bits += 8;
    }
    if (bits < width) break;
    bits -= width;
    const code = (word >> bits) & ((1 << width) - 1);
    if (code === END) break;
    if (code === CLEAR) {
      free = END + 1;
      width = 9;
      previousLength = 0;
      continue;
    }
    if (previousLength > 0 && free < MOST_CODES) {
      // The previous string and the letter behind it, which the code just read is about to write.
      places[free] = previousAt;
      lengths[free++] = previousLength + 1;
      if (free + 1 >= 1 << width && width < 12) width++;
    }
    if (code >= free) break;
    const from = filled;
    if (code < CLEAR) target[filled++] = code;
    else {
      const end = Math.min(target.length, filled + lengths[code]);
      for (let source = places[code]; filled < end;) target[filled++] = target[source++];
    }
    [previousAt, previousLength] = [from, filled - from];
  }
  return filled;
}
