// Talks to the server that this page came from, and to nothing else.

// The token stands in the address that was printed; it is kept for this tab and taken out of the address line.
const entered = location.hash.match(/^#([0-9a-f]{32})$/);
if (entered) {
  sessionStorage.setItem("token", entered[1]);
  history.replaceState(null, "", location.pathname);
}
const token = sessionStorage.getItem("token") || "";

function failed(status, said) {
  return new Error(said && said.problem ? said.problem : "The workbench answered with " + status + ".");
}

export async function ask(method, path, body) {
  const options = { method: method, headers: { "X-Token": token } };
  if (method !== "GET") options.body = JSON.stringify(body || {});
  let response;
  try {
    response = await fetch(path, options);
  } catch (unreachable) {
    throw new Error("The workbench does not answer; start gearhark workbench again and open the address that it prints.");
  }
  const said = await response.json().catch(function () { return null; });
  if (!response.ok) throw failed(response.status, said);
  return said;
}

// `tell`: called with the share sent so far.
export function send(file, path, headers, tell) {
  return new Promise(function (done, fail) {
    const request = new XMLHttpRequest();
    request.open("POST", path);
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.setRequestHeader("X-Name", encodeURIComponent(file.name));
    Object.keys(headers).forEach(function (name) { request.setRequestHeader(name, headers[name]); });
    request.upload.onprogress = function (event) { if (event.lengthComputable) tell(event.loaded / event.total); };
    request.onerror = function () { fail(new Error(file.name + " could not be sent; it may be too large, or the workbench was ended.")); };
    request.onload = function () {
      let said = null;
      try { said = JSON.parse(request.responseText); } catch (none) { said = null; }
      if (request.status === 201) done(said);
      else fail(new Error(file.name + ": " + failed(request.status, said).message));
    };
    request.send(file);
  });
}

export async function sendLog(file, id) {
  const headers = { "X-Token": token, "X-Name": encodeURIComponent(file.name), "Content-Type": "application/octet-stream" };
  const response = await fetch("/api/runs/" + id + "/log", { method: "POST", headers: headers, body: file });
  if (!response.ok) throw failed(response.status, await response.json().catch(function () { return null; }));
}

export function sendRun(file, set, tell) {
  return send(file, "/api/runs?set=" + set, { "X-Token": token }, tell);
}
