// The ticket fills one A5 page: the largest size at which everything is on it. Without script the
// size that the server gave is kept.

const ticket = document.querySelector('.ticket');
const PAGE = { width: 746, height: 508 }; // CSS pixels within the margins of an A5 page
const stays = (share) => {
  ticket.style.width = `${PAGE.width / share}px`;
  const fits = ticket.getBoundingClientRect().height * share <= PAGE.height
    && ticket.scrollWidth <= ticket.clientWidth + 1;
  ticket.style.width = '';
  return fits;
};
const fit = () => {
  // On a narrow screen the lines stand as a phone has them, not as paper does.
  if (!matchMedia('(min-width:861px)').matches) return;
  let [small, large] = [0.35, 1];
  for (let i = 0; i < 8; i += 1) {
    const middle = (small + large) / 2;
    if (stays(middle)) small = middle; else large = middle;
  }
  ticket.style.setProperty('--on-paper', small.toFixed(3));
};
document.fonts.ready.then(fit);
