import type { Tile } from '../../workers/protocol/api.ts';
import type { Painter } from './painter.ts';
import { lightOf, type Stretch } from './stretch.ts';

interface Resident {
  tile: Tile;
  /** The tile under the stretch named by `drawnFor`. */
  picture: HTMLCanvasElement;
  drawnFor: string;
}

/** For machines without WebGL2: each tile is stretched once per setting of the handles and then only copied. */
export function createCanvasPainter(canvas: HTMLCanvasElement): Painter | null {
  const context = canvas.getContext('2d', { alpha: false });
  if (!context) return null;
  const residents = new Map<string, Resident>();
  return {
    load(key, tile) {
      const picture = document.createElement('canvas');
      picture.width = tile.widthPx;
      picture.height = tile.heightPx;
      residents.set(key, { tile, picture, drawnFor: '' });
    },
    drop: (key) => void residents.delete(key),
    draw(placed, stretch, channelOffsetsAdu, sharp) {
      context.fillStyle = '#000';
      context.fillRect(0, 0, canvas.width, canvas.height);
      context.imageSmoothingEnabled = !sharp;
      const setting = [stretch.blackAdu, stretch.whiteAdu, stretch.softAdu, ...channelOffsetsAdu].join();
      for (const { key, left, top, right, bottom } of placed) {
        const resident = residents.get(key);
        if (!resident) continue;
        if (resident.drawnFor !== setting) {
          stretchInto(resident, stretch, channelOffsetsAdu);
          resident.drawnFor = setting;
        }
        context.drawImage(resident.picture, left, top, right - left, bottom - top);
      }
    },
    end: () => residents.clear(),
  };
}

function stretchInto(
  { tile, picture }: Resident,
  stretch: Stretch,
  offsetsAdu: [number, number, number],
): void {
  const context = picture.getContext('2d')!;
  const image = context.createImageData(tile.widthPx, tile.heightPx);
  const tables = offsetsAdu.map((offset) => lightTable(tile, stretch, offset));
  const { values, channels } = tile;
  for (let i = 0, out = 0; out < image.data.length; i += channels, out += 4) {
    image.data[out] = tables[0][values[i] >> 4];
    image.data[out + 1] = tables[1][values[i + (channels === 3 ? 1 : 0)] >> 4];
    image.data[out + 2] = tables[2][values[i + (channels === 3 ? 2 : 0)] >> 4];
    image.data[out + 3] = 255;
  }
  context.putImageData(image, 0, 0);
}

/** Light as 0..255 for the upper twelve bits of a value: finer steps than a screen can show. */
function lightTable(tile: Tile, stretch: Stretch, offsetAdu: number): Uint8ClampedArray {
  const perStep = ((tile.highAdu - tile.lowAdu) / 65535) * 16;
  return Uint8ClampedArray.from(
    { length: 4096 },
    (_, i) => 255 * lightOf(tile.lowAdu + (i + 0.5) * perStep - offsetAdu, stretch),
  );
}
