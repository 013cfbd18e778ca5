#pragma once

#include <cstdint>
#include <random>
#include <string_view>

namespace idlehark::sim {

using Random = std::mt19937_64;

/// A generator for one named ingredient: another ingredient that is switched on or off does not disturb its numbers.
[[nodiscard]] Random sub_stream(std::uint64_t seed, std::string_view ingredient);

/// A new seed for a part that draws by itself (one disturber of a session, say).
[[nodiscard]] std::uint64_t sub_seed(std::uint64_t seed, std::string_view part);

[[nodiscard]] double uniform(Random& random, double low, double high);
[[nodiscard]] double gaussian(Random& random);  ///< mean 0, standard deviation 1

/// White noise for audio, variance 1: the sum of the four 16-bit lanes of one draw. Nearly normal (kurtosis 2.7
/// instead of 3, never beyond 3.47 standard deviations), several times cheaper than std::normal_distribution.
class FastNoise {
   public:
    explicit FastNoise(Random random) : random_(random) {}
    [[nodiscard]] double next() noexcept {
        const std::uint64_t bits = random_();
        const auto sum = static_cast<double>((bits & 0xffffU) + ((bits >> 16U) & 0xffffU) + ((bits >> 32U) & 0xffffU) +
                                             (bits >> 48U));
        return (sum - kMean) * kScale;
    }

   private:
    static constexpr double kMean = 4.0 * 65535.0 / 2.0;
    static constexpr double kScale = 1.0 / 37837.22726;  // sqrt(4 (2^32 - 1) / 12)
    Random random_;
};

}  // namespace idlehark::sim
