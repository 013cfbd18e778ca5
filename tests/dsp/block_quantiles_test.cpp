#include "dsp/track/block_quantiles.hpp"

#include <algorithm>
#include <random>
#include <stdexcept>

#include <catch2/catch.hpp>

using namespace idlehark;

TEST_CASE("Block quantiles: the same as sorting every two neighbouring blocks", "[dsp][track]") {
    std::mt19937_64 random{17};
    const auto block = GENERATE(2u, 3u, 7u, 8u, 24u, 32u, 33u);
    std::exponential_distribution<float> power;
    std::vector<float> values(block * 9 + block - 1);
    for (auto& v : values) v = power(random);
    values[3] = values[4];
    for (std::size_t rank = 0; rank<block; rank += block> 8 ? 5 : 1) {
        BlockQuantiles quantiles{block, rank};
        const auto found = quantiles.of(values);
        REQUIRE(found.size() == 8);
        for (std::size_t k = 0; k < found.size(); ++k) {
            CAPTURE(block, rank, k);
            const auto from = values.begin() + static_cast<std::ptrdiff_t>(k * block);
            std::vector<float> two(from, from + 2 * static_cast<std::ptrdiff_t>(block));
            std::sort(two.begin(), two.end());
            CHECK(found[k] == two[rank]);
        }
    }
}

TEST_CASE("Block quantiles: less than two blocks give nothing; impossible sizes are refused", "[dsp][track]") {
    BlockQuantiles quantiles{8, 3};
    CHECK(quantiles.of({}).empty());
    CHECK(quantiles.of(std::vector<float>(15, 1.F)).empty());
    CHECK(quantiles.of(std::vector<float>(16, 1.F)).size() == 1);
    CHECK_THROWS_AS(BlockQuantiles(1, 0), std::invalid_argument);
    CHECK_THROWS_AS(BlockQuantiles(8, 8), std::invalid_argument);
}
