#include "src/analysis/in_parallel.hpp"

#include <atomic>
#include <chrono>
#include <stdexcept>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

namespace {

const auto never = [](int) { return false; };

TEST_CASE("In parallel: every result stands at its place, and each one done is told where it was asked for") {
    const auto caller = std::this_thread::get_id();
    std::vector<std::size_t> told;
    const auto results = in_parallel(
        23,
        [](std::size_t i) {
            std::this_thread::sleep_for(std::chrono::milliseconds(i % 3));  // the last begun is not the last done
            return static_cast<int>(i * i);
        },
        never,
        [&](std::size_t done) {
            CHECK(std::this_thread::get_id() == caller);
            told.push_back(done);
        });
    REQUIRE(results.size() == 23);
    for (std::size_t i = 0; i < results.size(); ++i) CHECK(results[i] == static_cast<int>(i * i));
    REQUIRE_FALSE(told.empty());
    CHECK(told.back() == 23);
    for (std::size_t k = 1; k < told.size(); ++k) CHECK(told[k] > told[k - 1]);
    CHECK(in_parallel(0, [](std::size_t) { return 1; }, never, {}).empty());
}

TEST_CASE("In parallel: after a failure nothing new is begun, and all before it is there") {
    const auto results = in_parallel(
        1000,
        [](std::size_t i) {
            if (i < 5) std::this_thread::sleep_for(std::chrono::milliseconds(20));
            return static_cast<int>(i);
        },
        [](int i) { return i == 5; }, {});
    for (int i = 0; i <= 5; ++i) CHECK(results[static_cast<std::size_t>(i)] == i);
    CHECK_FALSE(results.back());
}

TEST_CASE("In parallel: what work or the listener throws comes out when all has ended") {
    CHECK_THROWS_AS(
        in_parallel(8, [](std::size_t i) { return i == 3 ? throw std::runtime_error("no") : 1; }, never, {}),
        std::runtime_error);
    std::atomic<int> running{0};
    CHECK_THROWS_AS(in_parallel(
                        8,
                        [&](std::size_t) {
                            ++running;
                            std::this_thread::sleep_for(std::chrono::milliseconds(5));
                            --running;
                            return 1;
                        },
                        never, [](std::size_t) { throw std::logic_error("stop"); }),
                    std::logic_error);
    CHECK(running == 0);
}

}  // namespace
