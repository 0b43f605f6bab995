/** Pages without a desk: the front page, tombstones. */

import { Language } from "./language.js";

await new Language().start();
