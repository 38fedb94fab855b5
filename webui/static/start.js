// The page before a build is chosen: opens one that was opened before, or a new one. Needs api, dom.

import {post} from "./core/api.js";
import {byId} from "./core/dom.js";

async function open(request) {
  try {
    await post("/open", request);
    location.assign("/");
  } catch (error) {
    byId("problem").textContent = error.message;
    byId("problem").hidden = false;
  }
}

byId("new").onsubmit = event => {
  event.preventDefault();
  open({name: byId("name").value});
};
for (const button of document.querySelectorAll("[data-folder]")) {
  button.onclick = () => open({folder: button.dataset.folder});
}
