// Reads statements from standard input and prints, for each of them that breaks a rule of
// xAPI 1.0.3, its place and what the validator says; for the test in xapi_test.go.
const path = require("path");
const rules = require(path.join(__dirname, "../page/node_modules/@learninglocker/xapi-validation/dist/factory.js"));
let text = "";
process.stdin.on("data", (part) => (text += part));
process.stdin.on("end", () => {
  const all = JSON.parse(text);
  const wrong = all.map((statement, i) => ({ i, warnings: rules.statement(statement, [`statement ${i}`]).map(String) })).filter((w) => w.warnings.length > 0);
  console.log(JSON.stringify({ read: all.length, wrong }));
});
