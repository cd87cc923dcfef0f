import { shallowRef } from 'vue';

/**
 * Whether this browser holds a copy of the page that opens without the server.
 * insecure: plain http from another machine, where browsers allow none; impossible: switched off, or an old browser;
 * making: being copied; ready: kept; newer: kept, and a newer version waits for the next start; failed: the copy could
 * not be made this time; forgotten: taken out on request.
 */
export type OfflineState =
  'unknown' | 'insecure' | 'impossible' | 'making' | 'ready' | 'newer' | 'failed' | 'forgotten';

/** What of the browser is needed; handed in by tests. */
export interface Surroundings {
  secure: boolean;
  workers: Pick<ServiceWorkerContainer, 'register' | 'getRegistration'> | undefined;
  caches: Pick<CacheStorage, 'keys' | 'delete' | 'open'> | undefined;
  script: string;
}

const surroundings = (): Surroundings => ({
  secure: isSecureContext,
  workers: 'serviceWorker' in navigator ? navigator.serviceWorker : undefined,
  caches: 'caches' in globalThis ? globalThis.caches : undefined,
  script: `${import.meta.env.BASE_URL}offline.js`,
});

/** The page's copy in this browser: made once, told of, and forgotten on request. */
export class OfflineCopy {
  readonly state = shallowRef<OfflineState>('unknown');

  constructor(private readonly around: () => Surroundings = surroundings) {}

  /** Has the copy made, or looks for a newer version of it. Never throws; a server that is away is no trouble. */
  async begin(): Promise<void> {
    const { secure, workers, script } = this.around();
    if (!secure) return this.is('insecure');
    if (!workers) return this.is('impossible');
    try {
      const registration: ServiceWorkerRegistration | undefined = await workers.register(script, {
        updateViaCache: 'none',
      });
      if (!registration) return this.is('impossible');
      registration.addEventListener('updatefound', () => this.follow(registration));
      this.follow(registration);
    } catch {
      this.is((await this.known()) ? 'ready' : 'impossible');
    }
  }

  /**
   * Before the page appears: lets a newer copy that waits take the place of this one, if no other window shows the page.
   * True when it did, and the page is to be loaded anew.
   */
  async takeNewer(patienceMs = 2000): Promise<boolean> {
    const waiting = (await this.known())?.waiting;
    if (!waiting) return false;
    const { port1, port2 } = new MessageChannel();
    const late = new Promise<false>((resolve) => setTimeout(() => resolve(false), patienceMs));
    const alone = new Promise<boolean>((resolve) => (port1.onmessage = ({ data }) => resolve(data === true)));
    const taken = new Promise<true>((resolve) =>
      waiting.addEventListener('statechange', () => waiting.state === 'activated' && resolve(true)),
    );
    waiting.postMessage('take over', [port2]);
    return (await Promise.race([alone, late])) && Promise.race([taken, late]);
  }

  /** Size of the copy in bytes; 0 when there is none. */
  async bytes(): Promise<number> {
    let sum = 0;
    for (const name of await this.cacheNames()) {
      const cache = await this.around().caches!.open(name);
      for (const answer of await cache.matchAll()) sum += (await answer.blob()).size;
    }
    return sum;
  }

  /** Takes the copy out of this browser; it is made again when the page is opened anew from its server. */
  async forget(): Promise<void> {
    const registration = await this.known();
    await registration?.unregister();
    for (const name of await this.cacheNames()) await this.around().caches!.delete(name);
    if (this.state.value !== 'insecure' && this.state.value !== 'impossible') this.is('forgotten');
  }

  private follow(registration: ServiceWorkerRegistration): void {
    const { installing, waiting, active } = registration;
    if (waiting && active) this.is('newer');
    else if (active) this.is('ready');
    else if (installing || waiting) this.is('making');
    for (const worker of [installing, waiting])
      worker?.addEventListener('statechange', () => {
        if (worker.state === 'redundant' && !registration.active) this.is('failed');
        else if (worker.state !== 'redundant') this.follow(registration);
      });
  }

  private async known(): Promise<ServiceWorkerRegistration | undefined> {
    return this.around()
      .workers?.getRegistration()
      .catch(() => undefined);
  }

  private async cacheNames(): Promise<string[]> {
    const names =
      (await this.around()
        .caches?.keys()
        .catch(() => [])) ?? [];
    const scope = (await this.known())?.scope ?? new URL('.', document.baseURI).href;
    return names.filter((name) => name.startsWith(`cornerwise ${scope} `));
  }

  private is(state: OfflineState): void {
    if (this.state.value !== 'forgotten') this.state.value = state;
  }
}

/** One sentence for the foot of the page. */
export const OFFLINE_WORDS: Record<OfflineState, string> = {
  unknown: '',
  insecure:
    'This address (plain http from another machine) does not let the browser keep a copy of the page: everything works, but to open the page anew its server must be there. Open it on the machine that serves it, or over https, to have a copy.',
  impossible:
    'This browser keeps no copy of the page (a private window, or it is switched off): everything works, but to open the page anew its server must be there.',
  making: 'A copy of the page is being kept in this browser …',
  ready: 'A copy of the page is kept in this browser: it opens without its server and without internet.',
  newer:
    'A newer version of the page is here. It is used from the next start: close the other windows of the page, then load it anew.',
  failed:
    'The copy of the page could not be made (no room, or the server went away): it is tried again when the page is opened anew.',
  forgotten:
    'The copy of the page is forgotten. It is made again when the page is opened anew from its server.',
};

/** The one of the page. */
export const offlineCopy = new OfflineCopy();
