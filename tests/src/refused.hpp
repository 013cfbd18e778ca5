#pragma once

#include "tests/src/support.hpp"

#include <string>

#include <catch2/catch.hpp>

namespace idlehark::test {

/// Checks that the program refuses the arguments: this exit code, nothing on stdout, and the message holds the words.
inline void check_refused(const std::string& arguments, int code, const std::string& words) {
    CAPTURE(arguments);
    const auto ran = run_idlehark(arguments);
    CHECK(ran.code == code);
    CHECK(ran.out.empty());
    CHECK_THAT(ran.err, Catch::Matchers::Contains(words));
}

}  // namespace idlehark::test
