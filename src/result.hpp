#pragma once

#include <string>
#include <utility>
#include <variant>

namespace idlehark {

/// What failed, with file and place; and what the user can do about it (may be empty).
struct Error {
    std::string what;
    std::string hint;
};

/// For results that carry no value.
struct Done {};

/// A value, or the reason why there is none. Stands in for std::expected, which g++ 12 lacks.
template <class T>
class [[nodiscard]] Result {
    std::variant<T, Error> v_;

   public:
    Result(T value) : v_(std::move(value)) {}
    Result(Error error) : v_(std::move(error)) {}
    explicit operator bool() const noexcept { return v_.index() == 0; }
    T& value() { return std::get<0>(v_); }
    const T& value() const { return std::get<0>(v_); }
    const Error& error() const { return std::get<1>(v_); }
};

}  // namespace idlehark
