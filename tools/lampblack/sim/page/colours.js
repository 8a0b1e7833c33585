// The page's colours, by the names that its style sheet gives them.

const style = getComputedStyle(document.documentElement);

export const css = (name) => style.getPropertyValue(`--${name}`).trim();

/** Red, green and blue, 0 to 255. */
export const rgb = (name) => css(name).slice(1).match(/../g).map((pair) => parseInt(pair, 16));
