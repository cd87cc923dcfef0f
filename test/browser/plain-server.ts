import { createReadStream, existsSync, readFileSync, statSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { extname, join, normalize } from 'node:path';
import { securityHeaders } from '../../bin/security-headers.mjs';
import { builtPage } from './page.ts';

const TYPES: Record<string, string> = {
  '.html': 'text/html',
  '.js': 'text/javascript',
  '.css': 'text/css',
  '.json': 'application/json',
  '.png': 'image/png',
  '.svg': 'image/svg+xml',
};

/** Any web server that hands out the files of a folder, as somebody may have at hand; it can be switched off. */
export class PlainServer {
  /** Stands in the service worker in place of the built version: another one is an update. */
  version: string | null = null;
  private server: Server | null = null;

  /** `safe`: with the product's headers, otherwise with none. */
  constructor(private readonly safe: boolean) {}

  async start(port = 0): Promise<number> {
    this.server = createServer((request, response) => {
      const path = new URL(request.url!, 'http://here').pathname;
      const file = join(builtPage, normalize(path.endsWith('/') ? `${path}index.html` : path));
      if (!existsSync(file) || !statSync(file).isFile()) return response.writeHead(404).end();
      response.writeHead(200, {
        'Content-Type': TYPES[extname(file)] ?? 'application/octet-stream',
        ...(this.safe ? securityHeaders : {}),
      });
      if (this.version && path.endsWith('/offline.js'))
        return response.end(
          readFileSync(file, 'utf8').replace(/PAGE_VERSION = "\w+"/, `PAGE_VERSION = "${this.version}"`),
        );
      createReadStream(file).pipe(response);
    });
    await new Promise<void>((resolve) => this.server!.listen(port, '127.0.0.1', resolve));
    return (this.server.address() as AddressInfo).port;
  }

  async stop(): Promise<void> {
    this.server?.closeAllConnections();
    await new Promise<void>((resolve) => (this.server ? this.server.close(() => resolve()) : resolve()));
    this.server = null;
  }
}
