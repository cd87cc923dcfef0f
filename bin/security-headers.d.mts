export const securityHeaders: Record<string, string>;
