// The innermost loops of this room, compiled for several instruction sets; wide() gives the widest set this
// machine has. Pointers and sizes only, so that no shared inline code is compiled for the wrong machine.
#pragma once

#include <cstddef>
#include <vector>

namespace gearhark {

// So many transforms go side by side, whatever the registers' width.
inline constexpr std::size_t frame_lanes = 16;

// Room for as many complex numbers in lane form: their real parts, then their imaginary parts.
struct alignas(64) LaneLine {
  float values[2 * frame_lanes];
};
using Lines = std::vector<LaneLine>;
inline float* floats(Lines& lines) { return lines.data()->values; }

// Numbers from a cache line's start on: rows of weights must not straddle lines.
class AlignedFloats {
 public:
  explicit AlignedFloats(std::size_t count = 0) : lines_((count + 2 * frame_lanes - 1) / (2 * frame_lanes)) {}
  [[nodiscard]] float* data() { return lines_.data()->values; }
  [[nodiscard]] const float* data() const { return lines_.data()->values; }

 private:
  Lines lines_;
};

// How to transform `length` complex numbers (made of 2, 3 and 5) in each of the lanes.
struct LanePlan {
  explicit LanePlan(std::size_t length);
  std::size_t length;
  std::vector<unsigned> radices;          // outermost first
  std::vector<std::vector<float>> turns;  // per radix p of size n = p m: W_n^(jk), j = 1..p-1, k = 0..m-1
};

// As the loops see it.
struct LanePlanView {
  explicit LanePlanView(const LanePlan& plan);
  std::size_t length = 0;
  unsigned radices[48] = {};
  const float* turns[48] = {};
};

// Blocks of frame_lanes columns or rows that are worked on together; even.
inline constexpr std::size_t two_pass_blocks = 2;

// length = columns x rows, both multiples of 8 and at least frame_lanes; a transform in two passes over
// memory.
struct TwoPassPlan {
  const LanePlanView& column;  // of length `rows`
  const LanePlanView& row;     // of length `columns`
  const float* lane_turns;     // `rows` lines: W_length^(l k) in lane l of line k
  std::size_t length;
  bool inverse;  // unscaled
  float *a, *b;  // scratch of two_pass_blocks x max(rows, columns) lines each
};
// Lines between the passes: a last block of columns may overlap the one before.
inline std::size_t lines_between(std::size_t rows, std::size_t columns) {
  return (columns + frame_lanes - 1) / frame_lanes * rows;
}

// A real transform of twice the length.
struct RealPlan {
  const TwoPassPlan& half;
  const float* row_turns;     // W_(2 length)^r, r < rows: real parts, then imaginary parts
  const float* column_turns;  // W_(2 length)^(rows c), pairs, c < columns
};

struct Wide {
  std::size_t tap_lanes;  // taps in multiples of this are quickest; any multiple of 8 will do
  // out (length lines) = transform of in (length lines), which stays.
  void (*transform)(const LanePlanView& plan, const float* in, float* out);
  // Spectra of frame_lanes real frames of 2 x plan.length samples, each the product of `used` samples and
  // weights followed by zeros. turns: W_2n^k, k = 0..n/2. in: n lines of scratch; out: n + 1 lines.
  void (*real_frames)(const LanePlanView& plan, const float* turns, const float* const* frames,
                      const float* weights, std::size_t used, float* in, float* out);
  // The same frames' powers, power[k * frame_lanes + f]; in: n lines, out: n lines, of scratch.
  void (*frame_powers)(const LanePlanView& plan, const float* turns, const float* const* frames,
                       const float* weights, std::size_t used, float* in, float* out, float* power);
  // second[k * frame_lanes + p] += sum of |X[k]|^2 and fourth, of its square, over `count` frames of as many
  // signals that lie interleaved, a frame every `hop` samples of each. Weights for the whole length.
  void (*frame_moments)(const LanePlanView& plan, const float* turns, const float* parts, std::size_t hop,
                        std::size_t count, const float* weights, float* out, float* second, float* fourth);
  // The first `count` lanes of `bins` lines as rows of complex numbers.
  void (*unpack)(const float* lines, std::size_t bins, std::size_t count, float* out);
  // power[k] += the first `count` frames' powers.
  void (*add_power)(const LanePlanView& plan, const float* turns, const float* const* frames,
                    const float* weights, std::size_t used, std::size_t count, float* in, float* out,
                    float* power);
  // between: lines_between() of scratch.
  void (*two_pass)(const TwoPassPlan& plan, const float* in, float* between, float* out);
  // 2 length real numbers to length + 1 bins, or to the squares of their magnitudes.
  void (*real_two_pass)(const RealPlan& plan, const float* in, float* between, float* out);
  void (*power_two_pass)(const RealPlan& plan, const float* in, float* between, float* power);
  // length + 1 bins to `length` numbers whose inverse transform holds even samples as real parts, odd as
  // imaginary.
  void (*join_real)(const RealPlan& plan, const float* in, float* out);
  // out[i * apart] = sum over k < taps of x[i * hop + k] weights[k], i < count; taps a multiple of 8.
  void (*sliding_dots)(const float* x, std::size_t hop, std::size_t count, const float* weights,
                       std::size_t taps, float* out, std::size_t apart);
  // Whether all values lie in low..high and all distances between neighbours in least_step..most_step.
  bool (*within)(const double* values, std::size_t count, double low, double high, double least_step,
                 double most_step);
  // out[i] = x read at position[i] samples, >= 0 and below 2^31: the nearest of `rows` + 1 rows of `taps`
  // weights (a multiple of 8) between one sample and the next, on the samples from the whole position on.
  void (*read_at)(const float* x, const double* position, std::size_t count, const float* table,
                  std::size_t taps, std::size_t rows, float* out);
  // read_at() at the positions c[0] + u (c[1] + u (c[2] + u c[3])), u = i step, held within 0..last.
  void (*read_along)(const float* x, const double* c, double step, double last, std::size_t count,
                     const float* table, std::size_t taps, std::size_t rows, float* out);
  // The same at position[i] * scale + shift, between two rows; behind each of `rows` stands by how much the
  // next is more.
  void (*read_between)(const float* x, const double* position, double scale, double shift, std::size_t count,
                       const float* table, std::size_t taps, std::size_t rows, float* out);
  // out[i] (pairs) = sum over k < width of z[i * hop + k] taps[k], z and taps real and imaginary parts apart.
  void (*complex_windows)(const float* re, const float* im, const float* taps_re, const float* taps_im,
                          std::size_t width, std::size_t hop, std::size_t count, float* out);
  // re[b], im[b] = sums over k < block of x[b * block + k] (cosine[k], sine[k]).
  void (*block_sums)(const float* x, const float* cosine, const float* sine, std::size_t block,
                     std::size_t count, float* re, float* im);
  // out[k * frame_lanes + row] = rows[row][k]
  void (*interleave)(const float* const* rows, std::size_t count, float* out);
  // The value of this rank (0: the smallest) in each of frame_lanes lanes, and the one above it (the same for
  // the largest) where `above` is given; values (count x frame_lanes) >= 0.
  void (*lane_ranked)(const float* values, std::size_t count, std::size_t rank, float* out, float* above);
  // Copies the values within low..high, in their order, to `out`, which has room for 16 more and may be
  // `values`; how many, and adds to `below` how many are less than low.
  std::size_t (*keep_between)(const float* values, std::size_t count, float low, float high, float* out,
                              std::size_t* below);
  // places[k * frame_lanes + f] = power over background times scale, at most `most`, rounded down. The
  // background goes straight from one of the knots (frame_lanes each), which stand every `step` bins, to the
  // next.
  void (*over_background)(const float* power, std::size_t bins, std::size_t step, const float* knots,
                          float scale, float most, int* places);
  // out[j] = sum over k < taps of kernel[k] in[j + k]
  void (*convolve)(const double* in, const double* kernel, std::size_t taps, std::size_t count, double* out);
  // out[i] = (a[i] - b[i]) scale
  void (*scaled_differences)(const double* a, const double* b, std::size_t count, double scale, float* out);
  // values[i] = log(values[i] + floor), all sums positive and normal.
  void (*log_all)(float* values, std::size_t count, float floor);
};

namespace wide_baseline {
extern const Wide loops;
}
namespace wide_avx2 {
extern const Wide loops;
}
namespace wide_avx512 {
extern const Wide loops;
}

enum class Width { widest, avx2, baseline };  // avx2: no wider than that
// The loops in use. The choice is made at the first call; set_width() is for tests and changes it for plans
// made later.
const Wide& wide();
void set_width(Width width);

}  // namespace gearhark
