// Speed from the satellites, as the phone gives it. Never needed.
const speed = {
  watch: null, latest: null, state: "none",
  begin(positionKept) {
    if (!navigator.geolocation) { speed.state = "none"; return; }
    speed.state = "asked";
    speed.watch = navigator.geolocation.watchPosition(function (fix) {
      const here = fix.coords, line = { is: "fix", time_s: clock.at(fix.timestamp), speed_m_s: here.speed, speed_accuracy_m_s: here.speedAccuracy };
      if (positionKept) Object.assign(line, { latitude: here.latitude, longitude: here.longitude, position_accuracy_m: here.accuracy });
      speed.state = "there";
      speed.latest = { m_s: here.speed, seen: clock.now() };
      if (typeof here.speed === "number" || positionKept) note(line);
    }, function (refused) {
      speed.state = refused.code === 1 ? "refused" : "none";
    }, { enableHighAccuracy: true, maximumAge: 0, timeout: 20000 });
  },
  end() {
    if (speed.watch !== null) navigator.geolocation.clearWatch(speed.watch);
    speed.watch = speed.latest = null;
    speed.state = "none";
  },
  // In words, in the unit of the needle.
  words(unit) {
    if (speed.state === "refused") return "Speed was refused; say what the needle shows.";
    if (speed.state !== "there" || clock.now() - speed.latest.seen > 5) return "No speed from satellites yet.";
    if (typeof speed.latest.m_s !== "number") return "The phone knows the place, not the speed.";
    return Math.round(inUnit(speed.latest.m_s, unit)) + " " + unit + " by satellite";
  }
};

function inUnit(m_s, unit) { return unit === "mph" ? m_s / 0.44704 : 3.6 * m_s; }
