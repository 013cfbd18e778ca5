#include "src/analysis/second_ear.hpp"

#include <numeric>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

TEST_CASE("second ear: hears every block, in order, on another thread, and has heard all at the end") {
    std::vector<float> heard;
    std::thread::id who;
    SecondEar ear{[&](AudioView x) {
        who = std::this_thread::get_id();
        heard.insert(heard.end(), x.begin(), x.end());
    }};
    std::vector<float> sound(10000), block;
    std::iota(sound.begin(), sound.end(), 0.F);
    for (std::size_t from = 0, size = 1; from < sound.size(); from += size, size = size % 97 + 1) {
        const auto part = AudioView{sound}.subspan(from, std::min(size, sound.size() - from));
        block.assign(part.begin(), part.end());  // the next one overwrites it
        ear.take(block);
    }
    ear.finish();
    CHECK(heard == sound);
    CHECK(who != std::this_thread::get_id());
}

TEST_CASE("second ear: what the listener throws comes out where sound is given or ended") {
    const std::vector<float> block(10, 0.5F);
    int calls = 0;
    SecondEar ear{[&](AudioView) {
        if (++calls == 2) throw std::runtime_error("cannot hear");
    }};
    const auto give_much = [&] {
        for (int i = 0; i < 100; ++i) ear.take(block);
    };
    CHECK_THROWS_AS(give_much(), std::runtime_error);
    CHECK_THROWS_AS(ear.finish(), std::runtime_error);
    CHECK(calls == 2);
}

TEST_CASE("second ear: without a listener, and left before the end, it does not hang") {
    const std::vector<float> block(10, 0.5F);
    SecondEar deaf{{}};
    for (int i = 0; i < 10; ++i) deaf.take(block);
    deaf.finish();
    SecondEar left{[](AudioView) {}};
    left.take(block);
}

TEST_CASE("second ear: is told of missing sound between the blocks where it is missing") {
    std::string heard;
    SecondEar ear{[&](AudioView x) { heard += std::to_string(x.size()); }, [&] { heard += "|"; }};
    const std::vector<float> block(9, 0.5F);
    for (std::size_t n = 1; n <= 9; ++n) {
        ear.take(AudioView{block}.first(n));
        if (n == 3) ear.gap();
        if (n == 8) {
            ear.gap();
            ear.gap();
        }
    }
    ear.finish();
    CHECK(heard == "123|45678||9");
    SecondEar untold{[](AudioView) {}};
    untold.gap();
    SecondEar deaf{{}, [] { FAIL("nothing is heard"); }};
    deaf.gap();
    deaf.finish();
}
