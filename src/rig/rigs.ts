import { defineStore } from 'pinia';
import { computed, ref, shallowRef, watch } from 'vue';
import type { Outcome } from '../../workers/protocol/faults.ts';
import type { Rig } from '../../workers/protocol/rig.ts';
import { readSheets, writeSheets } from '../../workers/rig/sheet-file.ts';
import { rigOf, type RigSheet } from '../../workers/rig/sheet.ts';
import { settings } from '../keep/settings.ts';

/** The rigs that this browser keeps and the one in use. */
export const useRigs = defineStore('rigs', () => {
  const kept = shallowRef<RigSheet[]>(recall());
  const at = ref(Math.min(Number(settings.get('rig') ?? 0) || 0, kept.value.length - 1));
  const forgotten = shallowRef<{ sheets: RigSheet[]; at: number } | null>(null);
  const chosen = computed<RigSheet | null>(() => kept.value[at.value] ?? null);
  /** Whether frames are measured with the rig in use: its numbers then win over what a file says. */
  const measuring = ref(settings.get('rig.measuring') === 'yes');
  /** What measurement and fit are told; empty unless that is wanted. */
  const told = computed<Partial<Rig>>(() => (measuring.value && chosen.value ? rigOf(chosen.value) : {}));

  function add(...sheets: RigSheet[]): void {
    const names = new Set(kept.value.map(({ name }) => name));
    const named = sheets.map((sheet) => {
      const name = freeName(sheet.name, names);
      names.add(name);
      return { ...structuredClone(sheet), name };
    });
    at.value = kept.value.length;
    kept.value = [...kept.value, ...named];
    forgotten.value = null;
  }
  function update(change: Partial<RigSheet>): void {
    kept.value = kept.value.map((sheet, i) => (i === at.value ? { ...sheet, ...change } : sheet));
  }
  /** Takes the rig in use, or all of them, out of this browser; `undo` brings them back until the page is closed. */
  function forget(all: boolean): void {
    forgotten.value = { sheets: kept.value, at: at.value };
    kept.value = all ? [] : kept.value.filter((_, i) => i !== at.value);
    at.value = Math.max(0, Math.min(at.value, kept.value.length - 1));
  }
  function undo(): void {
    if (!forgotten.value) return;
    kept.value = forgotten.value.sheets;
    at.value = forgotten.value.at;
    forgotten.value = null;
  }
  function load(text: string): Outcome<RigSheet[]> {
    const outcome = readSheets(text);
    if (outcome.ok) add(...outcome.value);
    return outcome;
  }
  watch([kept, at], () => {
    const any = kept.value.length > 0;
    settings.set('rigs', any ? writeSheets(kept.value) : null);
    settings.set('rig', any ? String(at.value) : null);
  });
  watch(measuring, () => settings.set('rig.measuring', measuring.value ? 'yes' : null));
  const text = () => writeSheets(kept.value);
  return { kept, at, chosen, measuring, told, forgotten, add, update, forget, undo, load, text };
});

function freeName(wanted: string, taken: Set<string>): string {
  if (!taken.has(wanted)) return wanted;
  for (let n = 2; ; n++) if (!taken.has(`${wanted} (${n})`)) return `${wanted} (${n})`;
}

/** What is kept may be damaged: then nothing was. */
function recall(): RigSheet[] {
  const text = settings.get<string>('rigs');
  const outcome = typeof text === 'string' ? readSheets(text) : null;
  return outcome?.ok ? outcome.value : [];
}
