// SPDX-License-Identifier: Apache-2.0
import { svelte } from '@sveltejs/vite-plugin-svelte';
import { defineConfig } from 'vite';

export default defineConfig({
  base: './',
  plugins: [svelte()],
  build: {
    outDir: 'dist', // built into the program from here
    target: 'es2022',
    // The server's Content-Security-Policy allows files of its own only: nothing is inlined.
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
  },
});
