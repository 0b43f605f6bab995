/** Pages without a desk: the front page, tombstones. */

import { Language } from "./language.js";
import { WORDS } from "./words.js";

await new Language(WORDS).start();
