// The print button of a sheet: paper is its whole purpose.
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-act=print]")) window.print();
});
