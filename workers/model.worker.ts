import { expose } from 'comlink';
import { fitOf } from './fit/drawn-field.ts';
import { meanPictures } from './fit/mean-picture.ts';
import { modelPlaces } from './fit/model-places.ts';
import { modelShapes } from './fit/model-shapes.ts';
import { remainingWidths } from './fit/remaining-widths.ts';
import { leftovers, starUnderModel } from './fit/stars-under-model.ts';
import { tellLiving } from './living.ts';
import { success } from './protocol/faults.ts';
import type { ModelWorkerApi } from './protocol/model.ts';
import { loadKernels, type Kernels } from './wasm/kernels.ts';

let kernels: Promise<Kernels> | null = null;
const ready = () => (kernels ??= loadKernels());

const api: ModelWorkerApi = {
  pictures: async (field, request) => success(meanPictures(await ready(), fitOf(field), request)),
  widths: async (field, without) => success(remainingWidths(await ready(), fitOf(field), without)),
  places: async (field, places, only) => success(modelPlaces(fitOf(field), places, only)),
  shapes: async (field, cols, rows) => success(modelShapes(await ready(), fitOf(field), cols, rows)),
  leftovers: async (field, stamps) => success(await leftovers(fitOf(field), stamps)),
  star: async (field, stamp) => success(await starUnderModel(fitOf(field), stamp)),
};

expose(api);
tellLiving();
