"use strict";

/* One click answers every open question with "No". Nothing is sent by it: what is there is changed
   one by one, and the person records the answers. */
document.querySelectorAll("[data-answer-all]").forEach((button) => {
  button.closest("[hidden]").hidden = false;
  button.addEventListener("click", () => {
    let count = 0;
    document.querySelectorAll("[data-question]").forEach((question) => {
      const radios = [...question.querySelectorAll("input[type=radio][name$='-answer']")];
      const wanted = radios.find((radio) => radio.value === button.dataset.answerAll);
      if (!wanted || radios.some((radio) => radio.checked)) return;
      wanted.checked = true;
      count += 1;
    });
    const told = document.querySelector("[data-answered]");
    if (told) {
      told.textContent = `${count} answered. Nothing is recorded yet.`;
      told.classList.remove("visually-hidden");
    }
  });
});
