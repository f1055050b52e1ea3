// When firstedge-stamp is started many times at once by mpirun, firstedge-stamp-ranks takes over: the only
// program that needs MPI, so that a run of one process does not load it.
#pragma once

namespace firstedge {

/// True if mpirun (or a batch scheduler in its place) started this process with others of the same run.
bool launched_as_one_of_many();

/// Turns this process into firstedge-stamp-ranks with the same words. Comes back only if that is not there:
/// with the exit code, having said so.
int become_rank(char** argv);

}  // namespace firstedge
