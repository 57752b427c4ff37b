// On a page that says a sentence and no more: what was tapped on this device and not sent yet is
// not lost, and whoever looks is told so.

const note = document.getElementById("held");
const opening = globalThis.indexedDB?.open("duty", 1) ?? {};
opening.onupgradeneeded = () => opening.transaction.abort(); // nothing was ever said here
opening.onsuccess = () => {
  const words = opening.result.transaction("words").objectStore("words").getAll();
  words.onsuccess = () => {
    const waits = words.result.filter((word) => !word.refused).length;
    note.textContent = note.dataset.says.replace("{count}", waits);
    note.hidden = !waits;
    opening.result.close();
  };
};
