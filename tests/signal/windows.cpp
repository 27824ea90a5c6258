// Window constants against the tables of Harris, Proc. IEEE 66 (1978), table 1 (values from memory of that
// table; Hann also by closed form). For Hamming the table prints 1.78 dB and 23.5 %; weights 0.54 and 0.46
// give 1.75 dB and 23.4 %, which stand here.
#include "gearhark/signal/windows.hpp"

#include <catch2/catch.hpp>

using namespace gearhark;

namespace {
struct Row {
  Window shape;
  double gain, bandwidth, scalloping, half_overlap, three_quarters_overlap;
};
}  // namespace

TEST_CASE("windows have the gain, noise bandwidth, scalloping loss and overlap correlation Harris lists") {
  const std::vector<Row> table{
      {Window::rectangular, 1.00, 1.00, 3.92, 0.500, 0.750},
      {Window::triangular, 0.50, 1.33, 1.82, 0.250, 0.719},
      {Window::hann, 0.50, 1.50, 1.42, 0.167, 0.659},
      {Window::hamming, 0.54, 1.36, 1.75, 0.234, 0.707},
      {Window::blackman, 0.42, 1.73, 1.10, 0.090, 0.567},
      {Window::blackman_harris, 0.36, 2.00, 0.83, 0.038, 0.460},
  };
  for (const auto& row : table) {
    const auto weights = window_weights(row.shape, 4096);
    INFO("window " << static_cast<int>(row.shape));
    CHECK(coherent_gain(weights) == Approx(row.gain).margin(0.005));
    CHECK(noise_bandwidth_bins(weights) == Approx(row.bandwidth).margin(0.011));
    CHECK(scalloping_loss(weights).value() == Approx(row.scalloping).margin(0.011));
    CHECK(overlap_correlation(weights, 2048) == Approx(row.half_overlap).margin(0.0011));
    CHECK(overlap_correlation(weights, 1024) == Approx(row.three_quarters_overlap).margin(0.0011));
  }
}

TEST_CASE("the Hann window has its closed-form constants") {
  const auto weights = window_weights(Window::hann, 4096);
  CHECK(coherent_gain(weights) == Approx(0.5).epsilon(1e-6));
  CHECK(noise_bandwidth_bins(weights) == Approx(1.5).epsilon(1e-6));
  CHECK(scalloping_loss(weights).value() == Approx(1.4236).margin(1e-4));
  CHECK(overlap_correlation(weights, 2048) == Approx(1.0 / 6.0).epsilon(1e-5));
  CHECK(overlap_correlation(weights, 1536) == Approx(0.3819).margin(1e-4));
  CHECK(overlap_correlation(weights, 1365) == Approx(0.4713).margin(2e-4));
  CHECK(overlap_correlation(weights, 1024) == Approx(0.6592).margin(1e-4));
  CHECK(overlap_correlation(weights, 4096) == 0.0);
}

TEST_CASE("the Kaiser window is 1 in the middle, 1/I0(beta) at the edge and 0 outside") {
  CHECK(kaiser(0.0, 9.5) == 1.0);
  // I0(9.5) = 1753.4810 (scipy.special.i0, 1.10)
  CHECK(kaiser(1.0, 9.5) == Approx(1.0 / 1753.481).epsilon(1e-6));
  CHECK(kaiser(1.01, 9.5) == 0.0);
}
