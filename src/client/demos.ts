import type { DemoFrame } from '../../workers/protocol/demo.ts';
import { failure, success, type Outcome } from '../../workers/protocol/faults.ts';

const FOLDER = `${import.meta.env.BASE_URL}demo/`;

/** The demo frames that lie beside the page, in the order in which they are offered. */
export async function listDemos(): Promise<Outcome<DemoFrame[]>> {
  const answer = await get('index.json');
  return answer.ok ? success((await answer.value.json()) as DemoFrame[]) : answer;
}

/** A demo frame as a File, so that it takes the very way of a frame that somebody drops. */
export async function fetchDemo(demo: DemoFrame): Promise<Outcome<File>> {
  const answer = await get(demo.file);
  return answer.ok ? success(new File([await answer.value.blob()], demo.file)) : answer;
}

async function get(file: string): Promise<Outcome<Response>> {
  const missing = failure(
    'cannot-read',
    `The demo frame "${file}" cannot be had: the page's own server does not answer. Drop a frame of yours instead.`,
  );
  try {
    const response = await fetch(FOLDER + file);
    return response.ok ? success(response) : missing;
  } catch {
    return missing;
  }
}
