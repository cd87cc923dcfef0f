import { expose } from 'comlink';
import { starThreadApi } from './fit/star-thread.ts';

expose(starThreadApi());
