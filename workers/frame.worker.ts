import { expose, transfer } from 'comlink';
import { fileSource } from './decode/sources.ts';
import { tellLiving } from './living.ts';
import type { FrameWorkerApi, Measured } from './protocol/api.ts';
import { FrameSession } from './session.ts';
import { loadKernels } from './wasm/kernels.ts';
import { warmUpKernels } from './warm-up.ts';

let session: Promise<FrameSession> | null = null;
const ready = () => (session ??= loadKernels().then((kernels) => new FrameSession(kernels)));

const api: FrameWorkerApi = {
  async warmUp() {
    await warmUpKernels(await ready());
  },
  async measure(file, options, onProgress) {
    const outcome = await (await ready()).measure(fileSource(file), options, onProgress);
    return outcome.ok ? transfer(outcome, buffersOf(outcome.value)) : outcome;
  },
  async tile(handle, level, col, row) {
    const outcome = (await ready()).tile(handle, level, col, row);
    return outcome.ok ? transfer(outcome, [outcome.value.values.buffer]) : outcome;
  },
  async stamps(handle, most) {
    const outcome = (await ready()).stamps(handle, most);
    return outcome.ok ? transfer(outcome, [outcome.value.electrons.buffer]) : outcome;
  },
  async stamp(handle, star) {
    return (await ready()).stamp(handle, star);
  },
  async cutout(handle, xPx, yPx, sidePx) {
    const outcome = (await ready()).cutout(handle, xPx, yPx, sidePx);
    return outcome.ok ? transfer(outcome, [outcome.value.valuesAdu.buffer]) : outcome;
  },
  async colours(handle) {
    return (await ready()).colours(handle);
  },
};

expose(api);
tellLiving();

/** The mean stars move; the star table is copied, because the worker keeps it for later questions. */
const buffersOf = ({ meanStars }: Measured) => meanStars.map((star) => star.values.buffer);
