import type { Tile } from '../../workers/protocol/api.ts';
import type { Painter, Placed } from './painter.ts';

const VERTEX = `#version 300 es
uniform vec4 place; // left, top, right, bottom in clip space
uniform vec2 size;  // samples of the tile
out vec2 sampleAt;
void main() {
  vec2 corner = vec2(gl_VertexID & 1, gl_VertexID >> 1);
  sampleAt = corner * size;
  gl_Position = vec4(mix(place.xy, place.zw, corner), 0.0, 1.0);
}`;

/** Integer textures know no filter, so the four neighbours are mixed by hand when the picture is not sharp. */
const FRAGMENT = `#version 300 es
precision highp float;
precision highp usampler2D;
uniform usampler2D tile;
uniform vec2 size;
uniform vec2 adu;     // value of 0, value of one step
uniform vec3 stretch; // black, soft, asinh((white - black) / soft)
uniform bool mono;
uniform bool sharp;
in vec2 sampleAt;
out vec4 colour;
vec3 at(ivec2 p) {
  uvec4 v = texelFetch(tile, clamp(p, ivec2(0), ivec2(size) - 1), 0);
  return mono ? vec3(v.r) : vec3(v.rgb);
}
void main() {
  vec3 v;
  if (sharp) v = at(ivec2(sampleAt));
  else {
    vec2 p = sampleAt - 0.5;
    ivec2 i = ivec2(floor(p));
    vec2 f = p - vec2(i);
    v = mix(mix(at(i), at(i + ivec2(1, 0)), f.x), mix(at(i + ivec2(0, 1)), at(i + ivec2(1, 1)), f.x), f.y);
  }
  vec3 light = asinh((adu.x + v * adu.y - stretch.x) / stretch.y) / stretch.z;
  colour = vec4(clamp(light, 0.0, 1.0), 1.0);
}`;

/** Around the frame: a little off black, so that its border shows. */
const SURROUND = [0.045, 0.055, 0.06] as const;

interface Resident {
  texture: WebGLTexture;
  tile: Pick<Tile, 'widthPx' | 'heightPx' | 'channels' | 'lowAdu' | 'highAdu'>;
}

/** Tiles as 16-bit textures, stretched in the shader: moving a handle or the picture uploads nothing. Null without WebGL2. */
export function createGlPainter(canvas: HTMLCanvasElement): Painter | null {
  const gl = canvas.getContext('webgl2', { alpha: false, antialias: false, depth: false });
  if (!gl) return null;
  const program = link(gl);
  if (!program) return null;
  const at = (name: string) => gl.getUniformLocation(program, name);
  const where = {
    place: at('place'),
    size: at('size'),
    adu: at('adu'),
    stretch: at('stretch'),
    mono: at('mono'),
    sharp: at('sharp'),
  };
  const residents = new Map<string, Resident>();
  gl.useProgram(program);
  gl.pixelStorei(gl.UNPACK_ALIGNMENT, 2);

  const drop = (key: string) => {
    gl.deleteTexture(residents.get(key)?.texture ?? null);
    residents.delete(key);
  };
  return {
    load(key, tile) {
      drop(key);
      const texture = gl.createTexture();
      gl.bindTexture(gl.TEXTURE_2D, texture);
      const [inner, outer] = tile.channels === 1 ? [gl.R16UI, gl.RED_INTEGER] : [gl.RGB16UI, gl.RGB_INTEGER];
      const { widthPx, heightPx, channels, lowAdu, highAdu } = tile;
      gl.texImage2D(gl.TEXTURE_2D, 0, inner, widthPx, heightPx, 0, outer, gl.UNSIGNED_SHORT, tile.values);
      for (const filter of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER])
        gl.texParameteri(gl.TEXTURE_2D, filter, gl.NEAREST);
      residents.set(key, { texture, tile: { widthPx, heightPx, channels, lowAdu, highAdu } });
    },
    drop,
    draw(placed, stretch, sharp) {
      gl.viewport(0, 0, canvas.width, canvas.height);
      gl.clearColor(...SURROUND, 1);
      gl.clear(gl.COLOR_BUFFER_BIT);
      const { blackAdu, whiteAdu, softAdu } = stretch;
      gl.uniform3f(where.stretch, blackAdu, softAdu, Math.asinh((whiteAdu - blackAdu) / softAdu));
      gl.uniform1i(where.sharp, sharp ? 1 : 0);
      for (const spot of placed) {
        const resident = residents.get(spot.key);
        if (resident) drawOne(spot, resident);
      }
    },
    end() {
      for (const key of [...residents.keys()]) drop(key);
      gl.deleteProgram(program);
    },
  };

  function drawOne(spot: Placed, { texture, tile }: Resident): void {
    const x = (device: number) => (2 * device) / canvas.width - 1;
    const y = (device: number) => 1 - (2 * device) / canvas.height;
    gl!.bindTexture(gl!.TEXTURE_2D, texture);
    gl!.uniform4f(where.place, x(spot.left), y(spot.top), x(spot.right), y(spot.bottom));
    gl!.uniform2f(where.size, tile.widthPx, tile.heightPx);
    gl!.uniform2f(where.adu, tile.lowAdu, (tile.highAdu - tile.lowAdu) / 65535);
    gl!.uniform1i(where.mono, tile.channels === 1 ? 1 : 0);
    gl!.drawArrays(gl!.TRIANGLE_STRIP, 0, 4);
  }
}

function link(gl: WebGL2RenderingContext): WebGLProgram | null {
  const program = gl.createProgram();
  for (const [kind, source] of [
    [gl.VERTEX_SHADER, VERTEX],
    [gl.FRAGMENT_SHADER, FRAGMENT],
  ] as const) {
    const shader = gl.createShader(kind);
    if (!shader) return null;
    gl.shaderSource(shader, source);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  return gl.getProgramParameter(program, gl.LINK_STATUS) ? program : null;
}
