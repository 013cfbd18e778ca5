#include "src/casebook/figures.hpp"

#include "src/files/json_text.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark::figures {

double number(const Json& object, const char* key) {
    const auto at = object.find(key);
    return at != object.end() && at->is_number() ? at->get<double>() : std::nan("");
}

int whole(const Json& object, const char* key) {
    const double value = number(object, key);
    return std::isnan(value) ? 0 : static_cast<int>(std::clamp(value, 0.0, 1e6));
}

int channel(const Json& settings) {
    const auto at = settings.find("channel");
    return at != settings.end() && at->is_number_integer() ? at->get<int>() : 1;
}

std::string text(const Json& object, const char* key) {
    const auto at = object.find(key);
    if (at == object.end()) return {};
    return at->is_string() ? at->get<std::string>() : at->is_number_integer() ? at->dump() : std::string{};
}

std::vector<std::string> texts(const Json& object, const char* key) {
    std::vector<std::string> list;
    if (const auto at = object.find(key); at != object.end() && at->is_array())
        for (const auto& t : *at)
            if (t.is_string()) list.push_back(t.get<std::string>());
    return list;
}

std::vector<int> wholes(const Json& object, const char* key) {
    std::vector<int> list;
    if (const auto at = object.find(key); at != object.end() && at->is_array())
        for (const auto& n : *at)
            if (n.is_number_integer()) list.push_back(n.get<int>());
    return list;
}

std::vector<Json> rows(const Json& object, const char* key) {
    std::vector<Json> list;
    if (const auto at = object.find(key); at != object.end() && at->is_array())
        for (const auto& row : *at)
            if (row.is_object()) list.push_back(row);
    return list;
}

}  // namespace idlehark::figures
