// Plays from the take that lies beside the page; without the file the buttons stay hidden.
(() => {
  const player = document.getElementById("player");
  const buttons = document.querySelectorAll("button[data-from]");
  let until = Infinity;
  player.volume = 0.5; // never at full volume
  player.addEventListener("loadedmetadata", () => buttons.forEach((b) => { b.hidden = false; }));
  player.addEventListener("error", () => {
    player.hidden = true;
    document.getElementById("player-missing").hidden = false;
  });
  player.addEventListener("timeupdate", () => {
    if (player.currentTime >= until) { player.pause(); until = Infinity; }
  });
  document.querySelectorAll("[data-t]").forEach((note) => note.addEventListener("click", () => {
    player.currentTime = Math.max(Number(note.dataset.t) - 0.3, 0); // a breath before the note
    until = Infinity;
    player.play();
  }));
  buttons.forEach((b) => b.addEventListener("click", () => {
    player.currentTime = Number(b.dataset.from);
    until = b.dataset.to ? Number(b.dataset.to) : Infinity;
    player.play();
  }));
})();
