#include "src/files/json_text.hpp"

#include "src/files/text_file.hpp"

#include <algorithm>
#include <cmath>
#include <set>
#include <stdexcept>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

namespace {

constexpr std::size_t kLargestFile_bytes = 1U << 20U;
constexpr std::size_t kDeepest = 16;
constexpr std::size_t kMostKeys = 2000;  // an object looks its keys up one by one: many would take for ever

/// Values are quoted in messages, but not at any length.
std::string shown(const Json& value) {
    std::string text = value.dump(-1, ' ', false, Json::error_handler_t::replace);
    if (text.size() > 60) text.replace(57, std::string::npos, "...");
    return text;
}

/// "line 3, column 7" out of the parser's message, which is the only place it stands.
std::string where(const std::string& message) {
    const auto from = message.find("at line ");
    const auto to = message.find(':', from);
    return from == std::string::npos || to == std::string::npos ? "" : message.substr(from + 3, to - from - 3);
}

/// Why the text should not even be parsed: read through once, in constant memory, whether it is JSON or not.
std::optional<std::string> too_much(std::string_view text) {
    std::vector<std::size_t> keys;  // of each object or list that is open
    bool quoted = false;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const char c = text[i];
        if (quoted) {
            if (c == '\\') ++i;
            quoted = c != '"';
        } else if (c == '"') {
            quoted = true;
        } else if (c == '{' || c == '[') {
            keys.push_back(0);
            if (keys.size() > kDeepest) return "nested too deeply";
        } else if ((c == '}' || c == ']') && !keys.empty()) {
            keys.pop_back();
        } else if (c == ':' && !keys.empty() && ++keys.back() > kMostKeys) {
            return fmt::format("an object has more than {} keys", kMostKeys);
        }
    }
    return {};
}

}  // namespace

Json json_number(double x) { return std::isfinite(x) ? Json(x) : Json(nullptr); }

Json json_number(double x, int decimals) {
    const double parts = std::pow(10.0, decimals);  // exact up to 10^22
    return json_number(std::isfinite(x) ? std::round(x * parts) / parts : x);
}

Json stored_json_object(std::string_view text) {
    if (too_much(text)) return Json::object();
    auto json = Json::parse(text, nullptr, false);
    return json.is_object() ? json : Json::object();
}

Result<Json> read_json_object(const std::string& path) {
    const auto text = read_text(path, kLargestFile_bytes);
    if (!text) return text.error();
    return parse_json_object(text.value(), file_name(path));
}

Result<Json> parse_json_object(std::string_view text, const std::string& file) {
    if (const auto why = too_much(text)) return Error{fmt::format("{}: {}", file, *why), ""};
    std::vector<std::set<std::string>> keys;
    const auto watch = [&keys](int, Json::parse_event_t event, Json& parsed) {
        if (event == Json::parse_event_t::object_start) keys.emplace_back();
        if (event == Json::parse_event_t::object_end) keys.pop_back();
        if (event == Json::parse_event_t::key && !keys.back().insert(parsed.get<std::string>()).second)
            throw std::length_error(shown(parsed) + " is given twice");
        return true;
    };
    try {
        Json json = Json::parse(text, watch);
        if (!json.is_object()) return Error{file + ": must be a JSON object: { \"key\": value, ... }", ""};
        return json;
    } catch (const Json::parse_error& e) {
        const auto place = where(e.what());
        return Error{fmt::format("{}: {}is not valid JSON", file, place.empty() ? "" : place + ": "),
                     "Often a missing comma or quote just before that place, or a comma too many before } or ]."};
    } catch (const Json::exception&) {
        return Error{file + ": a number is too large", ""};
    } catch (const std::length_error& e) {
        return Error{file + ": " + e.what(), ""};
    }
}

JsonFields::JsonFields(const Json& object, std::string file, std::string place)
    : object_(object), file_(std::move(file)), place_(std::move(place)) {}

std::string JsonFields::at(const char* key) const {
    return fmt::format("{}: {}{}{}", file_, place_, place_.empty() ? "" : ".", key);
}

void JsonFields::complain(std::string text) {
    if (!error_) error_ = Error{std::move(text), ""};
}

void JsonFields::missing(const char* key, std::string_view what_it_is) {
    complain(fmt::format("{}: is missing ({})", at(key), what_it_is));
}

void JsonFields::expect(std::initializer_list<std::string_view> keys) {
    for (const auto& item : object_.items())
        if (std::find(keys.begin(), keys.end(), item.key()) == keys.end())
            warnings_.push_back(fmt::format("{}: is not a known key and is ignored (known: {})", at(item.key().c_str()),
                                            fmt::join(keys, ", ")));
}

const Json* JsonFields::find(const char* key) const {
    const auto it = object_.find(key);
    return it == object_.end() ? nullptr : &*it;
}

std::optional<int> JsonFields::whole_value(const char* key, const Json& value, int lowest, int highest) {
    const double number = value.is_number() ? value.get<double>() : std::nan("");
    if (std::isfinite(number) && number == std::floor(number) && number >= lowest && number <= highest)
        return static_cast<int>(number);
    complain(fmt::format("{}: {} is not {} {}..{}", at(key), shown(value),
                         value.is_number() && number == std::floor(number) ? "in" : "a whole number in", lowest,
                         highest));
    return {};
}

std::optional<int> JsonFields::whole(const char* key, int lowest, int highest) {
    const auto* value = find(key);
    return value ? whole_value(key, *value, lowest, highest) : std::nullopt;
}

std::optional<double> JsonFields::number(const char* key, double lowest, double highest) {
    const auto* value = find(key);
    if (!value) return {};
    const double x = value->is_number() ? value->get<double>() : std::nan("");
    if (std::isfinite(x) && x >= lowest && x <= highest) return x;
    complain(fmt::format("{}: {} is not {} {:g}..{:g}", at(key), shown(*value),
                         value->is_number() ? "in" : "a number in", lowest, highest));
    return {};
}

std::optional<std::string> JsonFields::text(const char* key) {
    const auto* value = find(key);
    if (!value) return {};
    if (value->is_string()) return value->get<std::string>();
    complain(fmt::format("{}: {} is not a text in quotes", at(key), shown(*value)));
    return {};
}

std::optional<std::size_t> JsonFields::word(const char* key, const std::vector<std::string_view>& words) {
    const auto* value = find(key);
    if (!value) return {};
    if (value->is_string()) {
        const auto it = std::find(words.begin(), words.end(), value->get<std::string>());
        if (it != words.end()) return static_cast<std::size_t>(it - words.begin());
    }
    complain(fmt::format("{}: {} is not one of: {}", at(key), shown(*value), fmt::join(words, ", ")));
    return {};
}

std::optional<std::vector<double>> JsonFields::numbers(const char* key, double lowest, double highest) {
    const auto* value = find(key);
    if (!value) return {};
    std::vector<double> list;
    const bool array = value->is_array();
    for (std::size_t i = 0; array && i < value->size(); ++i) {
        const auto& item = (*value)[i];
        const double x = item.is_number() ? item.get<double>() : std::nan("");
        if (!(x >= lowest && x <= highest)) {
            complain(fmt::format("{}: {} is not a number in {:g}..{:g}", at(key), shown(item), lowest, highest));
            return {};
        }
        list.push_back(x);
    }
    if (array) return list;
    complain(fmt::format("{}: {} is not a list of numbers in {:g}..{:g}", at(key), shown(*value), lowest, highest));
    return {};
}

std::optional<std::vector<int>> JsonFields::wholes(const char* key, int lowest, int highest) {
    const auto* value = find(key);
    if (!value) return {};
    if (!value->is_array()) {
        complain(
            fmt::format("{}: {} is not a list of whole numbers in {}..{}", at(key), shown(*value), lowest, highest));
        return {};
    }
    std::vector<int> list;
    for (const auto& item : *value) {
        const auto x = whole_value(key, item, lowest, highest);
        if (!x) return {};
        list.push_back(*x);
    }
    return list;
}

std::optional<std::vector<std::vector<int>>> JsonFields::whole_lists(const char* key, int lowest, int highest) {
    const auto* value = find(key);
    if (!value) return {};
    std::vector<std::vector<int>> lists;
    const bool array = value->is_array();
    for (std::size_t i = 0; array && i < value->size(); ++i) {
        const auto& inner = (*value)[i];
        if (!inner.is_array()) {
            complain(fmt::format("{}: {} is not a list of cylinders", at(key), shown(inner)));
            return {};
        }
        auto& list = lists.emplace_back();
        for (const auto& item : inner) {
            const auto x = whole_value(key, item, lowest, highest);
            if (!x) return {};
            list.push_back(*x);
        }
    }
    if (array) return lists;
    complain(fmt::format("{}: {} is not a list of lists of cylinders", at(key), shown(*value)));
    return {};
}

}  // namespace idlehark
