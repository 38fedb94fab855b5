// The only way to the server: JSON by GET and POST, and uploads with their progress. Needs the page's token
// (a meta element). Errors carry a sentence for people, `status`, and, after a POST, the server's
// `payload`.

const token = document.querySelector("meta[name=build-token]").content;
const SILENT = "The page does not answer; is the program still running?";

/**
 * What the page says when the server does not answer.
 * @param {string} words what that means for the user
 * @returns {string}
 */
export const silentBut = words => `${SILENT} ${words}`;

const problemOf = (payload, status) => payload.problem || `The page answered ${status}.`;

/**
 * Asks the server.
 * @param {string} path
 * @returns {Promise<Object>} the JSON of its response
 */
export async function get(path) {
  const response = await fetch(path, {headers: {Accept: "application/json"}}).catch(() => {
    throw new Error(SILENT);
  });
  const payload = await response.json();
  if (!response.ok)
    throw Object.assign(new Error(problemOf(payload, response.status)), {status: response.status});
  return payload;
}

/**
 * Sends JSON to the server.
 * @param {string} path
 * @param {Object} data
 * @returns {Promise<Object>} the JSON of its response
 */
export async function post(path, data) {
  const headers = {"Content-Type": "application/json", "X-Build-Token": token};
  const response = await fetch(path, {method: "POST", headers, body: JSON.stringify(data)}).catch(() => {
    throw new Error(silentBut("Your change was not confirmed."));
  });
  const payload = await response.json();
  const {ok, status} = response;
  if (!ok) throw Object.assign(new Error(problemOf(payload, status)), {payload, status});
  return payload;
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return {};
  }
}

/**
 * Uploads a file.
 * @param {string} path
 * @param {File} file
 * @param {Object<string, string>} headers
 * @param {function(number): void} progress called with the share that is sent, 0..1
 * @returns {Promise<Object>} the JSON of the response
 */
export function upload(path, file, headers, progress) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", path);
    for (const [name, value] of Object.entries({"X-Build-Token": token, ...headers})) {
      request.setRequestHeader(name, value);
    }
    request.upload.onprogress = event => event.lengthComputable && progress(event.loaded / event.total);
    request.onload = () => {
      const payload = parsed(request.responseText);
      if (request.status < 300) resolve(payload);
      else reject(new Error(problemOf(payload, request.status)));
    };
    request.onerror = () =>
      reject(new Error(`${file.name}: the connection broke; is the page still running?`));
    request.send(file);
  });
}
