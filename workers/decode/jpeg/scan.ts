export interface JpegFacts {
  widthPx: number;
  heightPx: number;
  components: number;
  /** Where the TIFF with the Exif fields begins; null when there is none. */
  exifAt: number | null;
}

/** Start-of-frame markers of the kinds with Huffman codes (ITU-T T.81, table B.1): baseline, extended, progressive. */
const FRAME_MARKERS = [0xc0, 0xc1, 0xc2];

/** Reads the segments before the pixels; null when there is no frame among them. */
export function scanJpeg(bytes: Uint8Array): JpegFacts | null {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  let exifAt: number | null = null;
  for (let at = 2; at + 9 < bytes.length && bytes[at] === 0xff;) {
    const marker = bytes[at + 1];
    if (marker === 0xff) {
      at++; // a filling byte
      continue;
    }
    if (FRAME_MARKERS.includes(marker))
      return {
        heightPx: view.getUint16(at + 5),
        widthPx: view.getUint16(at + 7),
        components: bytes[at + 9],
        exifAt,
      };
    const isExif = marker === 0xe1 && String.fromCharCode(...bytes.subarray(at + 4, at + 8)) === 'Exif';
    if (isExif) exifAt ??= at + 10;
    at += 2 + view.getUint16(at + 2);
  }
  return null;
}
