// Small helpers: text goes in as text, never as markup.
export const at = (id) => document.getElementById(id);

export function fill(id, text) { at(id).textContent = text; }

export function made(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children);
  return element;
}
