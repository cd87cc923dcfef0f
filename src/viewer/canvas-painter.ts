import type { Tile } from '../../workers/protocol/api.ts';
import type { Painter } from './painter.ts';
import { lightOf, type Stretch } from './stretch.ts';

interface Resident {
  tile: Tile;
  picture: HTMLCanvasElement;
  /** Names the table that `picture` was made with. */
  drawnFor: string;
}

/** For machines without WebGL2: each tile is stretched once per setting of the handles and then only copied. */
export function createCanvasPainter(canvas: HTMLCanvasElement): Painter | null {
  const context = canvas.getContext('2d', { alpha: false });
  if (!context) return null;
  const residents = new Map<string, Resident>();
  /** Tiles of one frame share their range, so one table serves them all. */
  let table = { name: '', light: new Uint8ClampedArray(0) as Uint8ClampedArray };
  const tableFor = (tile: Tile, stretch: Stretch) => {
    const name = [tile.lowAdu, tile.highAdu, stretch.blackAdu, stretch.whiteAdu, stretch.softAdu].join();
    if (table.name !== name) table = { name, light: lightTable(tile, stretch) };
    return table;
  };
  return {
    load(key, tile) {
      const picture = document.createElement('canvas');
      picture.width = tile.widthPx;
      picture.height = tile.heightPx;
      residents.set(key, { tile, picture, drawnFor: '' });
    },
    drop: (key) => void residents.delete(key),
    draw(placed, stretch, sharp) {
      context.fillStyle = '#0b0e0f';
      context.fillRect(0, 0, canvas.width, canvas.height);
      context.imageSmoothingEnabled = !sharp;
      for (const { key, left, top, right, bottom } of placed) {
        const resident = residents.get(key);
        if (!resident) continue;
        const { name, light } = tableFor(resident.tile, stretch);
        if (resident.drawnFor !== name) stretchInto(resident, light);
        resident.drawnFor = name;
        context.drawImage(resident.picture, left, top, right - left, bottom - top);
      }
    },
    end: () => residents.clear(),
  };
}

function stretchInto({ tile, picture }: Resident, light: Uint8ClampedArray): void {
  const context = picture.getContext('2d')!;
  const image = context.createImageData(tile.widthPx, tile.heightPx);
  const { values, channels } = tile;
  const [green, blue] = channels === 3 ? [1, 2] : [0, 0];
  for (let i = 0, out = 0; out < image.data.length; i += channels, out += 4) {
    image.data[out] = light[values[i]];
    image.data[out + 1] = light[values[i + green]];
    image.data[out + 2] = light[values[i + blue]];
    image.data[out + 3] = 255;
  }
  context.putImageData(image, 0, 0);
}

/** Light as 0..255 of each of the 65536 values of a tile. */
function lightTable({ lowAdu, highAdu }: Tile, stretch: Stretch): Uint8ClampedArray {
  const perStep = (highAdu - lowAdu) / 65535;
  return Uint8ClampedArray.from({ length: 65536 }, (_, i) => 255 * lightOf(lowAdu + i * perStep, stretch));
}
