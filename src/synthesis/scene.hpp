// What every source of sound needs to know, and the sources.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "filters.hpp"
#include "turning.hpp"

namespace gearhark::synth {

struct Scene {
  const Car& car;
  const SoundSettings& settings;
  const Turning& turning;
  // Character of the car: the same in every run. What happens in this run only.
  [[nodiscard]] Random character(std::string_view stream) const { return Random(settings.car_seed, stream); }
  [[nodiscard]] Random chance(std::string_view stream) const { return Random(settings.run_seed, stream); }
  [[nodiscard]] Track silence() const { return Track(turning.samples(), 0.0f); }
};

// 10^(db/20).
double amplitude(double db);
// A source's gain on the grid: `db_per_decade` of road speed, 1 at 80 km/h.
std::vector<double> speed_gain(const Scene& scene, double db_per_decade);

// The healthy car. Road noise at 80 km/h has RMS 1; the rest is relative to it.
Track engine_sound(const Scene& scene);
Track machine_sound(const Scene& scene);
Track gear_sound(const Scene& scene);
Track tyre_sound(const Scene& scene);
Track road_sound(const Scene& scene);
Track wind_sound(const Scene& scene);
Track bump_sound(const Scene& scene);

// A pair of gears, or a member of an epicyclic set, in mesh.
struct Mesh {
  std::string part;
  std::vector<double> cycles;         // tooth contacts on the grid
  std::vector<double> first, second;  // turns of the two gears relative to what carries their axes
  int first_teeth = 0, second_teeth = 0;
  bool loaded = true;
};
std::vector<Mesh> meshes(const Scene& scene);

// Loudness of a healthy mesh or of a fault in this run relative to its loudest state; 0 to 1.
double state_gain(const Scene& scene, std::string_view part, Fault fault);
double mesh_gain(const Scene& scene, const Mesh& mesh);

// The fault alone, at any level.
struct FaultSound {
  Track track;
  std::vector<double> events;
  std::optional<double> slip;
};
FaultSound fault_sound(const Scene& scene, const SoundFault& fault);
// A bearing's defect; `stream` names its random character.
FaultSound bearing_sound(const Scene& scene, const Bearing& bearing, const SoundFault& fault,
                         std::string_view stream);

void cabin(const Scene& scene, std::span<float> track);
void microphone(const Scene& scene, std::span<float> track);
// Gain (fixed or automatic), noise suppression, the microphone's own noise, soft clipping.
// Returns the fixed part of the gain.
double phone(const Scene& scene, Track& track);

}  // namespace gearhark::synth
