import { expose, transfer } from 'comlink';
import { fileSource } from './decode/sources.ts';
import { tellLiving } from './living.ts';
import type { RunFrame, RunFrameWorkerApi } from './protocol/run.ts';
import { cutForTogether, measureForRun } from './run-frame.ts';
import { FrameSession } from './session.ts';
import { loadKernels } from './wasm/kernels.ts';

let session: Promise<FrameSession> | null = null;
const ready = () => (session ??= loadKernels().then((kernels) => new FrameSession(kernels)));

const api: RunFrameWorkerApi = {
  async measure(file, options) {
    const outcome = await measureForRun(await ready(), fileSource(file), file.lastModified, options);
    return outcome.ok ? transfer(outcome, buffersOf(outcome.value)) : outcome;
  },
  async stoppedFrame(file, options) {
    const held = await (await ready()).measure(fileSource(file), { ...options, numbersAlone: true });
    return held.ok ? (await ready()).stoppedFrame(held.value.handle, file.name) : held;
  },
  cut: async (file, options) => cutForTogether(await ready(), fileSource(file), options),
};

expose(api);
tellLiving();

const buffersOf = ({ record }: RunFrame): ArrayBuffer[] =>
  Object.values(record?.stars ?? {}).flatMap((column) =>
    typeof column === 'number' ? [] : [column.buffer as ArrayBuffer],
  );
