import { defineStore } from 'pinia';
import { ref, shallowRef } from 'vue';
import { FolderWatch } from '../client/folder-watch.ts';
import { Shelf } from '../keep/shelf.ts';
import { useRun } from './run.ts';

/** The browser's own window for choosing a folder; not every browser has it. */
type Chooser = (options: { id: string; mode: 'read' }) => Promise<FileSystemDirectoryHandle>;
type Askable = FileSystemDirectoryHandle & {
  queryPermission?(how: { mode: 'read' }): Promise<PermissionState>;
  requestPermission?(how: { mode: 'read' }): Promise<PermissionState>;
};
const chooser = (): Chooser | null =>
  (window as { showDirectoryPicker?: Chooser }).showDirectoryPicker?.bind(window) ?? null;

/** The folder that a run grows from: looked at for new frames as long as the page is open. */
export const useRunFolder = defineStore('run-folder', () => {
  const run = useRun();
  const shelf = new Shelf('folders');
  const canWatch = chooser() !== null;
  /** Name of the folder; null when none was chosen. */
  const name = ref<string | null>(null);
  const state = ref<'none' | 'watching' | 'asks' | 'lost'>('none');
  const lastCameMs = ref<number | null>(null);
  const handle = shallowRef<Askable | null>(null);
  let keptId: number | null = null;
  let watch: FolderWatch | null = null;

  async function choose(): Promise<void> {
    let chosen: FileSystemDirectoryHandle;
    try {
      chosen = await chooser()!({ id: 'cornerwise-run', mode: 'read' });
    } catch {
      return; // the person closed the window without choosing
    }
    end();
    begin(chosen);
    keptId = await shelf.add({ name: chosen.name, handle: chosen });
  }

  function begin(folder: Askable): void {
    handle.value = folder;
    name.value = folder.name;
    state.value = 'watching';
    watch = new FolderWatch(folder as never, {
      onFiles: (files) => {
        if (run.add(files) > 0) lastCameMs.value = Date.now();
      },
      onLost: () => (state.value = 'lost'),
    });
    watch.start();
  }

  /** Watches again after a reload or after the folder was lost; the browser may ask the person first. */
  async function goOn(): Promise<void> {
    const folder = handle.value;
    if (!folder) return;
    const answer = (await folder.requestPermission?.({ mode: 'read' }).catch(() => 'denied')) ?? 'granted';
    if (answer === 'granted') begin(folder);
  }

  /** Stops looking and forgets the folder. */
  function end(): void {
    watch?.end();
    watch = null;
    state.value = 'none';
    name.value = null;
    handle.value = null;
    if (keptId !== null) void shelf.forget(keptId);
    keptId = null;
  }

  /** After a reload: takes the folder up again where the browser still allows it, else offers to ask. */
  async function recall(): Promise<void> {
    const [kept] = await shelf.newest(1);
    if (!kept || handle.value) return;
    const folder = kept.handle as Askable;
    keptId = kept.id;
    const answer = (await folder.queryPermission?.({ mode: 'read' }).catch(() => 'prompt')) ?? 'prompt';
    if (handle.value) return;
    if (answer === 'granted') return begin(folder);
    handle.value = folder;
    name.value = folder.name;
    state.value = 'asks';
  }

  return { canWatch, name, state, lastCameMs, choose, goOn, end, recall };
});
