#include "src/analysis/side_thread.hpp"

#include <atomic>
#include <numeric>
#include <stdexcept>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

using namespace idlehark;

TEST_CASE("side thread: does all the work, in order, on another thread, and has done it at the end") {
    std::vector<int> done, all(1000);
    std::iota(all.begin(), all.end(), 0);
    std::thread::id who;
    SideThread side;
    for (const int i : all)
        side.give([&done, &who, i] {
            who = std::this_thread::get_id();
            done.push_back(i);
        });
    side.finish();
    CHECK(done == all);
    CHECK(who != std::this_thread::get_id());
}

TEST_CASE("side thread: what the work throws comes out where work is given or ended") {
    int calls = 0;
    SideThread side;
    const auto give_much = [&] {
        for (int i = 0; i < 100; ++i)
            side.give([&calls] {
                if (++calls == 2) throw std::runtime_error("cannot");
            });
    };
    CHECK_THROWS_AS(give_much(), std::runtime_error);
    CHECK_THROWS_AS(side.finish(), std::runtime_error);
    CHECK(calls == 2);
}

TEST_CASE("side thread: no more than a little work waits") {
    std::atomic<bool> go = false;
    std::atomic<int> given = 0;
    SideThread side;
    std::jthread giver([&] {
        for (int i = 0; i < 100; ++i, ++given)
            side.give([&go] {
                while (!go) std::this_thread::yield();
            });
        side.finish();
    });
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
    CHECK(given < 6);
    go = true;
    giver.join();
    CHECK(given == 100);
}

TEST_CASE("side thread: without work, and left before the end, it does not hang") {
    SideThread idle;
    idle.finish();
    SideThread left;
    for (int i = 0; i < 4; ++i) left.give([] {});
}
