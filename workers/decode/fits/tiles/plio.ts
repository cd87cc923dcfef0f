/**
 * PLIO_1 (FITS Standard 4.0, 10.4.3): a list of 16-bit instructions that paint runs of a value along a line. The value
 * starts at 1; an instruction is four bits of code and twelve of data.
 */
const PAINT_ZEROS = 0;
const SET_VALUE = 1; // to data + 4096 * the next word
const RAISE_VALUE = 2;
const LOWER_VALUE = 3;
const PAINT_VALUE = 4;
const PAINT_ZEROS_THEN_VALUE = 5; // data - 1 zeros, then one pixel
const RAISE_AND_PAINT = 6; // one pixel
const LOWER_AND_PAINT = 7;

/** Unpacks `count` numbers into `target`. Returns false where the list makes no sense. */
export function unpackPlio(bytes: Uint8Array, target: Int32Array, count: number): boolean {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const words = bytes.length >> 1;
  const word = (index: number) => view.getInt16(2 * index);
  if (words < 3) return false;
  // The third word is the length of a list of the old form; of the new form it is negative, the length stands in
  // words 4 and 5, and the second word tells where the list begins.
  const isOld = word(2) > 0;
  if (!isOld && words < 7) return false;
  const length = isOld ? word(2) : word(4) * 32768 + word(3);
  let at = isOld ? 3 : word(1);
  if (length > words || at < 3) return false;
  let value = 1;
  let x = 0;
  target.fill(0, 0, count);
  for (; at < length; at++) {
    const data = word(at) & 0xfff;
    switch ((word(at) >> 12) & 0xf) {
      case PAINT_ZEROS:
        x += data;
        break;
      case PAINT_VALUE:
        target.fill(value, x, Math.min(count, x + data));
        x += data;
        break;
      case PAINT_ZEROS_THEN_VALUE:
        x += data;
        if (x > 0 && x <= count) target[x - 1] = value;
        break;
      case SET_VALUE:
        if (++at >= length) return false;
        value = (word(at) << 12) + data;
        break;
      case RAISE_VALUE:
        value += data;
        break;
      case LOWER_VALUE:
        value -= data;
        break;
      case RAISE_AND_PAINT:
      case LOWER_AND_PAINT:
        value += word(at) >> 12 === RAISE_AND_PAINT ? data : -data;
        if (x < count) target[x] = value;
        x++;
        break;
      default:
        return false;
    }
    if (x > count) return false;
  }
  return true;
}
