#include "dsp/sim/random.hpp"

namespace idlehark::sim {

std::uint64_t sub_seed(std::uint64_t seed, std::string_view part) {
    std::uint64_t h = 0xcbf29ce484222325ULL;  // FNV-1a over the name, then the SplitMix64 finaliser over both
    for (const char c : part) h = (h ^ static_cast<unsigned char>(c)) * 0x100000001b3ULL;
    std::uint64_t z = seed * 0x9e3779b97f4a7c15ULL + h;
    z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27U)) * 0x94d049bb133111ebULL;
    return z ^ (z >> 31U);
}

Random sub_stream(std::uint64_t seed, std::string_view ingredient) { return Random(sub_seed(seed, ingredient)); }

double uniform(Random& random, double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
}

double gaussian(Random& random) { return std::normal_distribution<double>()(random); }

}  // namespace idlehark::sim
