// Print the issues of a glTF file as JSON: node validate.cjs FILE
const fs = require("fs");
const validator = require("gltf-validator");
validator
  .validateBytes(new Uint8Array(fs.readFileSync(process.argv[2])))
  .then((report) => console.log(JSON.stringify(report)));
