#pragma once

#include <nlohmann/json_fwd.hpp>

namespace idlehark {

/// A JSON value whose keys keep their order, by name alone; whoever looks into one includes json_text.hpp.
using Json = nlohmann::ordered_json;

}  // namespace idlehark
