// The sentence that a call refuses with.
#pragma once

#include "firstedge/core/error.hpp"

#include <string>
#include <utility>

namespace firstedge::test {

/// what() of the Error that call() throws, "" if it throws none.
template <class Call>
std::string sentence_of(Call&& call) {
  try {
    std::forward<Call>(call)();
  } catch (const Error& error) {
    return error.what();
  }
  return "";
}

}  // namespace firstedge::test
