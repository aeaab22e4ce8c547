const state = await (await fetch("/api/state")).json(); document.getElementById("desk").textContent = JSON.stringify(state, null, 1);
