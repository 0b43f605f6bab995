/** What a reader chose, kept in the browser; one that refuses to remember keeps it for this page alone. */

/**
 * @param {string} name
 * @returns {string | null}
 */
export function kept(name) {
  try {
    return localStorage.getItem(`solander-${name}`);
  } catch {
    return null;
  }
}

/**
 * @param {string} name
 * @param {string} value
 */
export function keep(name, value) {
  try {
    localStorage.setItem(`solander-${name}`, value);
  } catch {
    // as above
  }
}
