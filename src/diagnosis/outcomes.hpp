// What runs are expected to show under each hypothesis, and what telling them apart is worth.
#pragma once

#include <cstddef>
#include <map>
#include <span>
#include <utility>
#include <vector>

#include "gearhark/diagnosis/next_run.hpp"
#include "gearhark/evidence/candidates.hpp"
#include "gearhark/evidence/healthy_orders.hpp"

namespace gearhark {

// Standard deviations by which a plain fault raises its own evidence in half a minute where it is loudest
// (judged: one that a driver notices).
inline constexpr double full_evidence = 4.0;

// A hypothesis as it would be heard in one run.
struct HeardFault {
  struct Line {
    double low = 0.0, high = 0.0;  // orders, over the range that slip and unknown sizes leave open
    double share = 0.0;            // of the comb's evidence; they add up to 1
    double clear =
        1.0;  // of it that a healthy car's own lines do not cover and a phone picks up, over the mean
  };
  double strength = 0.0;  // by which it raises its own evidence, standard deviations; 0: silent
  EvidenceKind kind = EvidenceKind::events;
  Reference on = Reference::wheel;
  Hertz fundamental;        // 0: not known beforehand
  double accuracy = 0.002;  // relative, to which a line's place is known
  std::vector<Line> lines;
};

// What the runs in one gear share, whatever their speed, load and bend.
struct CarInState {
  CarInState(const Car& described, DriveState in);
  [[nodiscard]] std::vector<double> engine_orders() const;
  const std::vector<MaskedOrder>& healthy(Reference on, Events events);

  const Car& car;
  DriveState state;
  ShaftRates rates;
  std::vector<Family> families;  // none where the car can't be in this state

 private:
  std::map<std::pair<Reference, Events>, std::vector<MaskedOrder>> masks_;  // as asked for
};

// What runs of a car would show of each hypothesis. Car and hypotheses must outlive it.
class Foreseen {
 public:
  Foreseen(const Car& car, std::span<const Hypothesis> hypotheses) : car_(car), hypotheses_(hypotheses) {}
  std::vector<HeardFault> heard_in(const NextRun& run);

 private:
  CarInState& in(const DriveState& state);
  const Car& car_;
  std::span<const Hypothesis> hypotheses_;
  std::map<std::pair<Gear, Clutch>, CarInState> states_;
};

// How much of a suspect's evidence the true fault raises: 1 all of it, as when every line coincides.
double raised(const HeardFault& truth, const HeardFault& suspect);

// Chance that the run shows what two likely parts would show alike: the mean over the hypotheses of how far
// each coincides, in place and loudness, with one of another part that is no less likely.
double collision(const std::vector<HeardFault>& heard, std::span<const Hypothesis> hypotheses);

// The evidence of every suspect, were each hypothesis in turn the truth, as inner products: they add over
// runs, because what runs show is independent. The last one is "no fault", which raises nothing.
class Outcomes {
 public:
  explicit Outcomes(std::size_t hypotheses) : size_(hypotheses + 1), products_(size_ * size_, 0.0) {}
  explicit Outcomes(const std::vector<HeardFault>& heard);
  Outcomes& operator+=(const Outcomes& other);
  friend Outcomes operator+(Outcomes a, const Outcomes& b) { return a += b; }
  [[nodiscard]] std::size_t no_fault() const { return size_ - 1; }
  [[nodiscard]] double strength_squared(std::size_t i) const { return product(i, i); }
  // Chance, roughly, of taking one for the other: 1 where they show the same at some loudness.
  [[nodiscard]] double confusable(std::size_t i, std::size_t k) const;

 private:
  [[nodiscard]] double product(std::size_t i, std::size_t k) const { return products_[i * size_ + k]; }
  std::size_t size_;
  std::vector<double> products_;
};

// Expected drop in entropy, nats, of the question which part it is (which fault of it does not count).
double entropy_drop(const Outcomes& outcomes, std::span<const Hypothesis> hypotheses);

// Probabilities of the hypotheses, then of "no fault", the rest.
std::vector<double> weights_of(std::span<const Hypothesis> hypotheses);

}  // namespace gearhark
