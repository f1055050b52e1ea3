// The lock around the HDF5 library, and the way from its errors to ours. For the files of lib/io alone.
#pragma once

#include "firstedge/core/error.hpp"

#include <mutex>
#include <string>

#include <H5Cpp.h>

namespace firstedge {

/// Held around every use of HDF5, the closing of its objects included. The library is not thread-safe, and a
/// batch run reads records in one thread while it writes stamps in another: one lock serves the whole
/// process. It may be taken again by the thread that holds it. While it is held, HDF5 prints nothing; after
/// that its error printing is as the program around us had it.
class Hdf5Guard {
 public:
  Hdf5Guard();
  ~Hdf5Guard();
  Hdf5Guard(const Hdf5Guard&) = delete;
  Hdf5Guard& operator=(const Hdf5Guard&) = delete;

 private:
  std::lock_guard<std::recursive_mutex> lock_;
  H5E_auto2_t printer_ = nullptr;
  void* printer_data_ = nullptr;
};

/// For functions of the C interface, which tell failure by a negative number.
template <class Status>
Status checked(Status status) {
  if (status < 0) throw H5::Exception("", "");
  return status;
}

/// The C++ object of something that the C interface has opened; it closes it.
template <class Object>
Object wrapped(hid_t id) {
  Object object(id);
  checked(H5Idec_ref(id));  // the object has counted itself
  return object;
}

/// call() under the guard; a failure inside HDF5 becomes Error(place, problem, remedy).
template <class Call>
auto guarded(const std::string& place, const std::string& problem, const std::string& remedy, Call&& call) {
  const Hdf5Guard guard;
  try {
    return call();
  } catch (const H5::Exception&) {
    throw Error(place, problem, remedy);
  }
}

}  // namespace firstedge
