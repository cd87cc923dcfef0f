interface ImportMeta {
  /** Where the page lies, told by the build. */
  readonly env: { readonly BASE_URL: string };
}

declare module '*.css';
