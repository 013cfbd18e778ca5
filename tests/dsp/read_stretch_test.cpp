#include "dsp/read_stretch.hpp"

#include "dsp/windows.hpp"

#include <limits>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

TEST_CASE("A stretch read: silence outside the recording and for what is no number", "[dsp]") {
    const std::vector<float> x{1.F, 2.F, std::numeric_limits<float>::quiet_NaN(), 4.F};
    const auto read = [&](std::ptrdiff_t first) {
        std::vector<float> out(3, 9.F);
        read_stretch(x, first, out);
        return out;
    };
    CHECK(read(0) == std::vector<float>{1.F, 2.F, 0.F});
    CHECK(read(-2) == std::vector<float>{0.F, 0.F, 1.F});
    CHECK(read(2) == std::vector<float>{0.F, 4.F, 0.F});
    CHECK(read(-3) == std::vector<float>{0.F, 0.F, 0.F});
    CHECK(read(4) == std::vector<float>{0.F, 0.F, 0.F});
    CHECK(read(-9) == std::vector<float>{0.F, 0.F, 0.F});
    CHECK(read(9) == std::vector<float>{0.F, 0.F, 0.F});
}

TEST_CASE("A faded window: even within, a raised cosine at both ends", "[dsp]") {
    const auto w = faded_window(10, 2);
    CHECK(w[0] == Approx(0.1464466));
    CHECK(w[1] == Approx(0.8535534));
    for (std::size_t i = 2; i < 8; ++i) CHECK(w[i] == 1.F);
    CHECK(w[8] == w[1]);
    CHECK(w[9] == w[0]);
    CHECK(faded_window(3, 9).size() == 3);
    CHECK(faded_window(0, 9).empty());
}
