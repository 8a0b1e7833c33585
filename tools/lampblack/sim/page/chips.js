// A row of choices: radio buttons that look like the page.

/**
 * Fill `fieldset` with `options`, pairs of value and label, and call `pick(value)` when a person chooses one.
 * Returns a function that shows which value is chosen.
 */
export function chips(fieldset, pick) {
  let options = "";
  return (wanted, value, marked = null) => {
    if (JSON.stringify(wanted) !== options) {
      options = JSON.stringify(wanted);
      for (const label of fieldset.querySelectorAll("label")) label.remove();
      for (const [own, text] of wanted) {
        const label = document.createElement("label");
        const input = document.createElement("input");
        const face = document.createElement("span");
        input.type = "radio";
        input.name = fieldset.id;
        input.value = own;
        face.textContent = text;
        input.addEventListener("change", () => pick(own));
        label.append(input, face);
        fieldset.append(label);
      }
    }
    for (const input of fieldset.querySelectorAll("input")) {
      input.checked = input.value === String(value);
      input.parentElement.classList.toggle("wanted", marked !== null && input.value === String(marked));
    }
  };
}
