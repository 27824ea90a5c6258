// One run, prepared once: everything the evidence of any part is read from.
//
//   sound + shaft angle -> 16 kHz -> band envelopes per turn (wheel; engine where it runs free) and order
//   spectra
#pragma once

#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "gearhark/car/lines.hpp"
#include "gearhark/evidence/envelope_spectra.hpp"
#include "gearhark/evidence/healthy_orders.hpp"
#include "gearhark/evidence/order_spectrum.hpp"
#include "gearhark/speed/tracking.hpp"

namespace gearhark {

// Spectra on one reference shaft.
struct OnShaft {
  EnvelopeSpectra slipping;  // masked for events that slip: bearings
  EnvelopeSpectra locked;    // masked for events locked to a shaft: chipped teeth, dry joints
  OrderSpectrum tones;
};

struct HeardRun {
  DriveState state;
  Load load = Load::drive;
  Turn turn = Turn::straight;
  ShaftRates rates;
  std::vector<Family> families;  // faults
  std::vector<Family> healthy;   // what a sound car's machines do; creep leaves their rate open
  Family unlisted;               // any comb that keeps to the road wheels: of a part that the car file lacks
  double bend = 0.0;             // expected half difference of right and left over the mean wheel rate
  ShaftRate wheel_rate, engine_rate;
  Seconds duration;
  OnShaft wheel;
  std::optional<OnShaft> engine;  // in neutral or with the pedal down, when the engine's angle was found
};

// samples at rate_hz, already cut to the run. `bandwidth`: carrier bands above carry nothing.
HeardRun listen_to(const Car& car, const Run& run, std::span<const float> samples, double rate_hz,
                   Hertz bandwidth, const Tracking& tracking);

// A run too long to be held, heard piece by piece: what listen_to() gives, with the pieces' spectra averaged.
// `turns`: of the wheel and of the engine, on which the spectra of all pieces are made; what a piece turns
// more is left out, one that turns less weighs less.
class PieceListener {
 public:
  struct Turns {
    double wheel = 0.0, engine = 0.0;
  };
  PieceListener(const Car& car, const Run& run, double rate_hz, Hertz bandwidth, Turns turns);
  ~PieceListener();
  PieceListener(PieceListener&&) noexcept;
  PieceListener& operator=(PieceListener&&) noexcept;
  void add(std::vector<float> samples, const Tracking& tracking);
  // At least one piece was added.
  [[nodiscard]] HeardRun heard() &&;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

// The fundamental and modulation of a family in orders of the reference it follows, with `bend` as in
// HeardRun. Nothing: it stands still, or mixes two references.
struct FamilyOrders {
  double fundamental = 0.0, modulation = 0.0;
  Reference on = Reference::wheel;
};
std::optional<FamilyOrders> orders_of(const Family& family, double bend);

// Where a family is looked for in a run: the spectra and the orders of its fundamental and modulation on
// them. Nothing: the family does not turn there, or mixes two references.
struct Place {
  const OnShaft* spectra = nullptr;
  double fundamental = 0.0, modulation = 0.0;  // orders
  bool engine_bound = false;
  ShaftRate reference_rate;
};
std::optional<Place> place_of(const Family& family, const HeardRun& run);

}  // namespace gearhark
