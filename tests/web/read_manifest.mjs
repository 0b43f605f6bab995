// Reads manifests as a client of IIIF does, with a library that knows nothing of us: upgrades each strictly,
// normalises it, lists its canvases, and resolves every image service to its info.json and to images that
// the library itself makes addresses of. Prints what it found as JSON.
//
//     node read_manifest.mjs URL…

import { Traverse, normalize } from "@iiif/parser";
import {
  getImageServices,
  imageServiceRequestToString,
  isLevel0,
  parseImageServiceRequest,
} from "@iiif/parser/image-3";
import { presentation3StrictUpgrade } from "@iiif/parser/strict";

const found = [];
for (const url of process.argv.slice(2)) found.push(await read(url));
console.log(JSON.stringify(found));

async function read(url) {
  const manifest = await json(url);
  const log = { warnings: [] };
  presentation3StrictUpgrade(structuredClone(manifest), log);
  const { entities } = normalize(structuredClone(manifest));
  const services = new Map();
  Traverse.all((resource) => {
    for (const service of getImageServices(resource)) services.set(service.id, service);
    return resource;
  }).traverseManifest(structuredClone(manifest));
  return {
    id: manifest.id,
    warnings: log.warnings,
    canvases: manifest.items.map(({ id }) => entities.Canvas[id].id),
    services: await Promise.all([...services.values()].map(resolve)),
  };
}

/** An image service with its info.json and the requests that the library can make of it. */
async function resolve(service) {
  const info = await json(`${service.id}/info.json`);
  const requests = [
    `${info.id}/full/max/0/default.jpg`,
    ...(info.sizes ?? []).map(({ width, height }) => `${info.id}/full/${width},${height}/0/default.jpg`),
  ].map((url) => parseImageServiceRequest(url));
  return {
    id: info.id,
    isLevel0: isLevel0(info),
    isNamedAlike: info.id === service.id,
    images: await Promise.all(requests.map((request) => image(imageServiceRequestToString(request, info)))),
  };
}

async function json(url) {
  const answer = await fetch(url);
  if (!answer.ok) throw new Error(`${answer.status}: ${url}`);
  return answer.json();
}

async function image(url) {
  const answer = await fetch(url);
  const bytes = await answer.arrayBuffer();
  return { url, status: answer.status, type: answer.headers.get("content-type"), bytes: bytes.byteLength };
}
