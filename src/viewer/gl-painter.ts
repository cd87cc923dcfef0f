import type { Tile } from '../../workers/protocol/api.ts';
import type { Painter, Placed } from './painter.ts';
import type { Stretch } from './stretch.ts';

/** A strip of four corners that covers the whole target. */
const STRETCH_VERTEX = `#version 300 es
void main() {
  gl_Position = vec4(vec2(gl_VertexID & 1, gl_VertexID >> 1) * 2.0 - 1.0, 0.0, 1.0);
}`;

/** From a tile's 16-bit values to the light that is shown, sample by sample. */
const stretchFragment = (channels: 1 | 3) => `#version 300 es
precision highp float;
precision highp usampler2D;
uniform usampler2D tile;
uniform vec2 adu;     // value of 0, value of one step
uniform vec3 stretch; // black, soft, asinh((white - black) / soft)
out vec4 colour;
void main() {
  uvec4 v = texelFetch(tile, ivec2(gl_FragCoord.xy), 0);
  ${channels === 1 ? 'float s = float(v.r);' : 'vec3 s = vec3(v.rgb);'}
  ${channels === 1 ? 'float' : 'vec3'} light = asinh((adu.x + s * adu.y - stretch.x) / stretch.y) / stretch.z;
  colour = vec4(clamp(${channels === 1 ? 'vec3(light)' : 'light'}, 0.0, 1.0), 1.0);
}`;

const PLACE_VERTEX = `#version 300 es
uniform vec4 place; // left, top, right, bottom in clip space
out vec2 sampleAt;
void main() {
  sampleAt = vec2(gl_VertexID & 1, gl_VertexID >> 1);
  gl_Position = vec4(mix(place.xy, place.zw, sampleAt), 0.0, 1.0);
}`;

const PLACE_FRAGMENT = `#version 300 es
precision mediump float;
uniform sampler2D shown;
in highp vec2 sampleAt;
out vec4 colour;
void main() { colour = texture(shown, sampleAt); }`;

/** Around the frame: a little off black, so that its border shows. */
const SURROUND = [0.045, 0.055, 0.06] as const;

interface Resident {
  values: WebGLTexture;
  /** The tile as it is shown; made when it is first drawn. */
  shown: WebGLTexture | null;
  /** Names the stretch that `shown` was made with. */
  shownFor: string;
  tile: Pick<Tile, 'widthPx' | 'heightPx' | 'channels' | 'lowAdu' | 'highAdu'>;
}

/**
 * Tiles as 16-bit textures. The shader stretches each once per setting of the handles into a texture of its own; moving
 * the picture then only copies those, and nothing is uploaded either way. Null without WebGL2.
 */
export function createGlPainter(canvas: HTMLCanvasElement): Painter | null {
  const gl = canvas.getContext('webgl2', { alpha: false, antialias: false, depth: false });
  if (!gl) return null;
  const placing = link(gl, PLACE_VERTEX, PLACE_FRAGMENT);
  const mono = link(gl, STRETCH_VERTEX, stretchFragment(1));
  const colour = link(gl, STRETCH_VERTEX, stretchFragment(3));
  if (!placing || !mono || !colour) return null;
  const place = gl.getUniformLocation(placing, 'place');
  const stretching = { 1: wired(mono), 3: wired(colour) };
  const residents = new Map<string, Resident>();
  const target = gl.createFramebuffer();
  const samplers = { sharp: samplerOf(gl, gl.NEAREST), smooth: samplerOf(gl, gl.LINEAR) };
  gl.pixelStorei(gl.UNPACK_ALIGNMENT, 2);

  function wired(program: WebGLProgram) {
    const at = (name: string) => gl!.getUniformLocation(program, name);
    return { program, adu: at('adu'), stretch: at('stretch') };
  }

  const drop = (key: string) => {
    const resident = residents.get(key);
    gl.deleteTexture(resident?.values ?? null);
    gl.deleteTexture(resident?.shown ?? null);
    residents.delete(key);
  };
  return {
    load(key, tile) {
      drop(key);
      const values = gl.createTexture();
      gl.bindTexture(gl.TEXTURE_2D, values);
      const [inner, outer] = tile.channels === 1 ? [gl.R16UI, gl.RED_INTEGER] : [gl.RGB16UI, gl.RGB_INTEGER];
      const { widthPx, heightPx, channels, lowAdu, highAdu } = tile;
      gl.texImage2D(gl.TEXTURE_2D, 0, inner, widthPx, heightPx, 0, outer, gl.UNSIGNED_SHORT, tile.values);
      for (const filter of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER])
        gl.texParameteri(gl.TEXTURE_2D, filter, gl.NEAREST);
      const kept = { widthPx, heightPx, channels, lowAdu, highAdu };
      residents.set(key, { values, shown: null, shownFor: '', tile: kept });
    },
    drop,
    draw(placed, stretch, sharp) {
      const spots = placed.flatMap((spot) => residents.get(spot.key) ?? []);
      const name = [stretch.blackAdu, stretch.whiteAdu, stretch.softAdu].join();
      const stale = spots.filter(({ shownFor }) => shownFor !== name);
      if (stale.length) restretch(stale, stretch, name);
      gl.viewport(0, 0, canvas.width, canvas.height);
      gl.clearColor(...SURROUND, 1);
      gl.clear(gl.COLOR_BUFFER_BIT);
      gl.useProgram(placing);
      gl.bindSampler(0, sharp ? samplers.sharp : samplers.smooth);
      for (const spot of placed) {
        const resident = residents.get(spot.key);
        if (resident) drawOne(spot, resident);
      }
      gl.bindSampler(0, null);
    },
    end() {
      for (const key of [...residents.keys()]) drop(key);
      for (const program of [placing, mono, colour]) gl.deleteProgram(program);
      for (const sampler of [samplers.sharp, samplers.smooth]) gl.deleteSampler(sampler);
      gl.deleteFramebuffer(target);
    },
  };

  function restretch(stale: Resident[], { blackAdu, whiteAdu, softAdu }: Stretch, name: string): void {
    const top = Math.asinh((whiteAdu - blackAdu) / softAdu);
    gl!.bindFramebuffer(gl!.FRAMEBUFFER, target);
    for (const resident of stale) {
      const { widthPx, heightPx, channels, lowAdu, highAdu } = resident.tile;
      resident.shown ??= emptyTexture(gl!, widthPx, heightPx);
      resident.shownFor = name;
      const { program, adu, stretch } = stretching[channels];
      gl!.framebufferTexture2D(gl!.FRAMEBUFFER, gl!.COLOR_ATTACHMENT0, gl!.TEXTURE_2D, resident.shown, 0);
      gl!.viewport(0, 0, widthPx, heightPx);
      gl!.useProgram(program);
      gl!.uniform2f(adu, lowAdu, (highAdu - lowAdu) / 65535);
      gl!.uniform3f(stretch, blackAdu, softAdu, top);
      gl!.bindTexture(gl!.TEXTURE_2D, resident.values);
      gl!.drawArrays(gl!.TRIANGLE_STRIP, 0, 4);
    }
    gl!.bindFramebuffer(gl!.FRAMEBUFFER, null);
  }

  function drawOne(spot: Placed, { shown }: Resident): void {
    const x = (device: number) => (2 * device) / canvas.width - 1;
    const y = (device: number) => 1 - (2 * device) / canvas.height;
    gl!.bindTexture(gl!.TEXTURE_2D, shown);
    gl!.uniform4f(place, x(spot.left), y(spot.top), x(spot.right), y(spot.bottom));
    gl!.drawArrays(gl!.TRIANGLE_STRIP, 0, 4);
  }
}

function emptyTexture(gl: WebGL2RenderingContext, widthPx: number, heightPx: number): WebGLTexture {
  const texture = gl.createTexture();
  gl.bindTexture(gl.TEXTURE_2D, texture);
  gl.texStorage2D(gl.TEXTURE_2D, 1, gl.RGBA8, widthPx, heightPx);
  return texture;
}

function samplerOf(gl: WebGL2RenderingContext, filter: number): WebGLSampler {
  const sampler = gl.createSampler();
  for (const name of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER])
    gl.samplerParameteri(sampler, name, filter);
  for (const name of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T])
    gl.samplerParameteri(sampler, name, gl.CLAMP_TO_EDGE);
  return sampler;
}

function link(gl: WebGL2RenderingContext, vertex: string, fragment: string): WebGLProgram | null {
  const program = gl.createProgram();
  for (const [kind, source] of [
    [gl.VERTEX_SHADER, vertex],
    [gl.FRAGMENT_SHADER, fragment],
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
