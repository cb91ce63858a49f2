// Bundle the page's script with three.js into one file that needs no network: node build.mjs OUT
import { build } from "esbuild";

await build({
  entryPoints: ["main.js"],
  outfile: process.argv[2],
  bundle: true,
  minify: true,
  format: "iife",
  target: "es2020",
  charset: "utf8",
  legalComments: "none",
  banner: { js: "/* armcarry page; holds three.js 0.187.0, MIT licence: see THREE_LICENSE.txt */" },
});
